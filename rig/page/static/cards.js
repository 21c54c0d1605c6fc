// The card editor: every key with its unit, range and meaning, made from the bench's own schema.
import { act, ask, on } from "./bench.js";
import { numberIn } from "./numbers.js";
import { tap, tellTrouble } from "./shared.js";
import { byId, el } from "./words.js";

const shown = (value) => (value === null || value === undefined ? "" : Array.isArray(value) ? JSON.stringify(value) : String(value));

export function startEditor() {
  const form = byId("editor");
  const kind = byId("card-kind");
  let newest = null;
  let drawn = ""; // the cards that the form shows, as text
  let changed = new Map();
  let asked = 0;

  async function load() {
    const mine = ++asked;
    try {
      const told = await ask("/api/cards");
      if (mine !== asked) return;
      newest = told;
      byId("undo").disabled = !newest.can_undo;
      // drawn only where something differs: who has just clicked into a field goes on typing in it
      if (changed.size === 0 && JSON.stringify(newest.cards) !== drawn) draw();
    } catch (error) {
      tellTrouble("cards", error.message);
    }
  }

  function control(field, id) {
    const now = shown(field.value);
    const usual = shown(field.default);
    if (field.kind === "choice" || field.kind === "yes/no") {
      const choices = field.kind === "choice" ? field.choices : ["true", "false"];
      const picked = field.value === null ? usual : now;
      return el("select", { id }, ...choices.map((choice) => el("option", { value: choice, selected: choice === picked }, choice)));
    }
    const numeric = field.kind === "number" || field.kind === "whole number";
    return el("input", {
      id,
      type: "text",
      inputmode: numeric ? "decimal" : null,
      "data-low": numeric ? field.low : null,
      "data-high": numeric ? field.high : null,
      value: now,
      placeholder: usual,
      "aria-describedby": `${id}-about`,
    });
  }

  function draw() {
    const card = newest.cards[kind.value];
    const spoilt = Object.entries(newest.cards).filter(([, one]) => one.trouble);
    tellTrouble("spoilt", spoilt.map(([name, one]) => `The ${name} card cannot be used, and the editor shows its last good version. ${one.trouble}`).join("\n"));
    byId("restore").hidden = !card.trouble;
    const typing = form.contains(document.activeElement) ? document.activeElement.id : "";
    drawn = JSON.stringify(newest.cards);
    changed = new Map();
    const parts = card.sections
      .filter((section) => section.fields.length)
      .map((section) =>
        el(
          "fieldset",
          {},
          el("legend", {}, section.name || `${kind.value} card`),
          ...section.fields.map((field) => {
            const id = `f-${field.path.replaceAll(".", "-")}`;
            const input = control(field, id);
            // at the first letter: news of the car must not draw over what is being typed
            input.addEventListener("input", () => changed.set(field, input));
            const name = field.path.split(".").pop().replaceAll("_", " ");
            return el(
              "div",
              { class: "field" },
              el("label", { for: id }, name + (field.unit ? `, ${field.unit}` : "")),
              input,
              el("small", { id: `${id}-about` }, `${field.meaning}${field.meaning ? ". " : ""}${field.allowed}${field.value === null && field.default !== null && shown(field.default) ? `; taken as ${shown(field.default)}` : ""}`),
            );
          }),
        ),
      );
    form.replaceChildren(...parts, el("button", { type: "submit", class: "main", id: "save-card" }, "Save a new version"));
    if (typing) byId(typing)?.focus();
  }

  function value(field, input) {
    if (field.kind === "yes/no") return input.value === "true";
    if (field.kind === "list") return input.value.trim() === "" ? null : JSON.parse(input.value);
    if (field.kind === "number" || field.kind === "whole number") return input.value.trim() === "" ? null : numberIn(input);
    return input.value;
  }

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (changed.size === 0) return;
    try {
      const sent = [...changed].map(([field, input]) => [field, input, input.value]);
      const values = Object.fromEntries(sent.map(([field, input]) => [field.path, value(field, input)]));
      await act("save-card", { kind: kind.value, values });
      tellTrouble("cards", "");
      for (const [field, input, then] of sent) if (input.value === then) changed.delete(field); // not what came since
      await load();
    } catch (error) {
      tellTrouble("cards", error instanceof SyntaxError ? "A list is written like [1, 2, 3]." : error.message);
    }
  });
  kind.addEventListener("change", draw);
  tap("restore", async () => {
    changed = new Map();
    drawn = "";
    await act("restore-card", { kind: kind.value });
    await load();
  });
  tap("undo", async () => {
    changed = new Map();
    drawn = "";
    await act("undo");
    await load();
  });
  on("car", load);
}
