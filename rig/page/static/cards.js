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
  // What was typed and not saved yet: "kind path" -> { kind, field, text, was }. Nothing that comes from another
  // window, and no other card looked at in between, takes it away.
  const drafts = new Map();
  let asked = 0;

  async function load() {
    const mine = ++asked;
    try {
      const told = await ask("/api/cards");
      if (mine !== asked) return;
      newest = told;
      byId("undo").disabled = !newest.can_undo;
      // drawn only where something differs, and not under the hands of somebody who types
      if (JSON.stringify(newest.cards) !== drawn && !busy()) draw();
    } catch (error) {
      tellTrouble("cards", error.message);
    }
  }

  const busy = () => form.contains(document.activeElement) && drafts.size > 0;

  function control(field, id, draft) {
    const now = draft ? draft.text : shown(field.value);
    const usual = shown(field.default);
    if (field.kind === "choice" || field.kind === "yes/no") {
      const choices = field.kind === "choice" ? field.choices : ["true", "false"];
      const picked = field.value === null && !draft ? usual : now;
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
    const focused = form.contains(document.activeElement) ? document.activeElement.id : "";
    drawn = JSON.stringify(newest.cards);
    const parts = card.sections
      .filter((section) => section.fields.length)
      .map((section) =>
        el(
          "fieldset",
          {},
          el("legend", {}, section.name || `${kind.value} card`),
          ...section.fields.map((field) => {
            const id = `f-${field.path.replaceAll(".", "-")}`;
            const key = `${kind.value} ${field.path}`;
            const draft = drafts.get(key);
            const input = control(field, id, draft);
            const mine = kind.value;
            input.addEventListener("input", () =>
              drafts.set(key, { kind: mine, field, text: input.value, was: drafts.get(key)?.was ?? shown(field.value) }));
            const unsaved = draft && `Not saved yet${draft.was === shown(field.value) ? "" : `; on the card it was ${draft.was || "left out"}, and is now ${shown(field.value) || "left out"}`}. `;
            const name = field.path.split(".").pop().replaceAll("_", " ");
            return el(
              "div",
              { class: "field" },
              el("label", { for: id }, name + (field.unit ? `, ${field.unit}` : "")),
              input,
              el("small", { id: `${id}-about` }, draft ? el("strong", {}, unsaved) : null, `${field.meaning}${field.meaning ? ". " : ""}${field.allowed}${field.value === null && field.default !== null && shown(field.default) ? `; taken as ${shown(field.default)}` : ""}`),
            );
          }),
        ),
      );
    form.replaceChildren(...parts, el("button", { type: "submit", class: "main", id: "save-card" }, "Save a new version"));
    if (focused) byId(focused)?.focus();
  }

  function value(field, input) {
    if (field.kind === "yes/no") return input.value === "true";
    if (field.kind === "list") return input.value.trim() === "" ? null : JSON.parse(input.value);
    if (field.kind === "number" || field.kind === "whole number") return input.value.trim() === "" ? null : numberIn(input);
    return input.value;
  }

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const sent = [...drafts].filter(([, draft]) => draft.kind === kind.value);
    if (sent.length === 0) return;
    try {
      const values = Object.fromEntries(
        sent.map(([, { field }]) => [field.path, value(field, byId(`f-${field.path.replaceAll(".", "-")}`))]));
      await act("save-card", { kind: kind.value, values });
      tellTrouble("cards", "");
      for (const [key, draft] of sent) if (drafts.get(key) === draft) drafts.delete(key); // not what was typed since
      await load();
      if (!busy()) draw();
    } catch (error) {
      tellTrouble("cards", error instanceof SyntaxError ? "A list is written like [1, 2, 3]." : error.message);
    }
  });
  form.addEventListener("focusout", () => setTimeout(() => newest && JSON.stringify(newest.cards) !== drawn && !busy() && draw()));
  kind.addEventListener("change", draw);
  tap("restore", async () => {
    for (const [key, draft] of drafts) if (draft.kind === kind.value) drafts.delete(key);
    drawn = "";
    await act("restore-card", { kind: kind.value });
    await load();
  });
  tap("undo", async () => {
    drawn = "";
    await act("undo");
    await load();
  });
  on("car", load);
}
