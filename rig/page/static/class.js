// The class screen: a question, answers that stay hidden until all are in, the push, what was seen, and the reveal.
import { act, ask, connect, on, state } from "./bench.js";
import { CarView } from "./car.js";
import { numberIn, typed } from "./numbers.js";
import { startShared, tap, tellTrouble, tiePin } from "./shared.js";
import { wayIn } from "./qr.js";
import { drawRegion } from "./regionview.js";
import { byId, el, show } from "./words.js";

const view = new CarView(byId("car"), { pin: true });
tiePin(view, byId("pin-pct"), byId("pin-side"));
let steps = [];
let swung = 0; // number of the question whose push was replayed
let drawnChoices = "";
let moved = false; // whether the ring was set by whoever answers now

const told = view.onpin;
view.onpin = (...place) => {
  moved = true;
  told(...place);
};
for (const id of ["pin-pct", "pin-side"]) byId(id).addEventListener("input", () => (moved = true));

const PHASES = {
  guess: "Everybody answers; nobody sees the others’ answers until all are in.",
  watch: "All are in. Push, and let everybody write down what they see before it is told.",
  reveal: "Talk about it. Who was right, and for what reason? Then vote again.",
  second: "The same question again. Nobody sees the others’ answers until all are in.",
  counted: "Before and after, side by side.",
};
const PLAIN = { measured: null, forecast: null, swept: [], balance: null, balance_half: 0 };

function draw() {
  const car = state.car, cls = state.class;
  if (!car?.picture || !cls) return;
  const workedOut = cls.worked && Boolean(cls.lines);
  const revealed = Boolean(cls.picture) || workedOut;
  worked(cls, workedOut);
  // the answer is this question's push alone, as the bench tells the class; what is pushed later belongs to the next
  view.show(cls.picture ?? { ...car.picture, ...PLAIN, ...(cls.worked ? { push: null } : {}) });
  view.guesses(cls.guesses);
  if (cls.picture && swung !== cls.number && cls.picture.swept.length) {
    const poses = [[0, 0, 0], ...cls.picture.swept];
    if (swung !== 0 || cls.phase === "reveal") view.swing(poses, () => view.drawSwept(cls.picture.swept), 1);
    swung = cls.number;
  }
  show(byId("question"), cls.question);
  show(byId("phase"), cls.worked && cls.phase === "watch" ? "All are in. Talk about it, then reveal what is worked out." : PHASES[cls.phase]);
  choices(cls);
  const seen = cls.asked === "seen";
  const of = cls.pupils ? ` of ${cls.pupils}` : "";
  const what = seen ? ["account of what was seen", "accounts of what was seen"] : ["guess", "guesses"];
  show(byId("count"), cls.asked ? `${cls.count}${of} ${what[cls.count === 1 ? 0 : 1]} on the board.` : "");
  byId("guessing").hidden = !cls.asked;
  byId("todo").hidden = revealed; // done
  if (revealed && state.job && !state.job.running) byId("job").hidden = true;
  byId("reason-box").hidden = seen;
  byId("place").hidden = seen || cls.worked; // of what is worked out no place is asked
  show(byId("guess"), seen ? "Write it down" : "Mark this guess");
  view.layers.pin.toggleAttribute("hidden", !cls.asked || seen || cls.worked);
  byId("all-in").hidden = !["guess", "second"].includes(cls.phase);
  byId("second-vote").hidden = !["watch", "reveal"].includes(cls.phase);
  byId("reveal").disabled = revealed || !(cls.pushed || cls.worked) || cls.phase === "second";
  byId("push-now").hidden = byId("weigh-now").hidden = revealed || cls.worked; // what comes now is talk
  byId("push-now").disabled = !car.virtual || !car.weights;
  byId("weigh-now").disabled = !car.virtual && state.port?.state === "no pads";
  answer(cls, revealed);
  tally(cls);
  phones(cls);
  const step = steps.find((one) => one.name === car.step);
  if (steps.length) byId("step").value = step?.name ?? "";
  show(byId("todo"), step?.todo ?? "");
  show(byId("caution"), step?.caution ?? "");
  show(byId("notes"), step?.notes ?? "");
}

// What is worked out has its own picture in the car's place.
function worked(cls, revealed) {
  const region = revealed ? cls.region : null;
  byId("worked").hidden = !region;
  byId("marks").hidden = cls.worked;
  byId("regions").hidden = !region;
  byId("car").hidden = Boolean(region);
  if (!region) return void byId("worked").replaceChildren();
  if (byId("worked").dataset.number === String(cls.number) && byId("worked").firstChild) return;
  byId("worked").dataset.number = String(cls.number);
  const both = [{ drawn: region.now.drawn, kind: "now", name: "now" }];
  if (region.tried) both.push({ drawn: region.tried.drawn, kind: "tried", name: "with the bar" });
  drawRegion(byId("worked"), region, both);
}

function choices(cls) {
  const key = JSON.stringify([cls.number, cls.asked, cls.choices]);
  if (key === drawnChoices) return;
  drawnChoices = key;
  moved = false;
  const box = byId("choices");
  box.hidden = cls.choices.length === 0;
  box.replaceChildren(
    el("legend", { id: "asked" }, cls.asked === "seen" ? "What did you see?" : "Your answer"),
    ...cls.choices.map((choice) => el("label", {}, el("input", { type: "radio", name: "choice", value: choice }), choice)),
  );
}

function answer(cls, revealed) {
  const box = byId("answer");
  const lines = revealed
    ? cls.worked
      ? [cls.sentence, cls.answer ? `“${cls.answer}” is right.` : "", ...cls.lines, cls.notes ?? ""].filter(Boolean)
      : [
        cls.sentence,
        `Measured: ${cls.measured.words}`,
        `Forecast: ${cls.forecast.words}`,
        cls.spread.words,
        cls.seen.length ? `Seen: ${cls.seen.map(([name, count]) => `${name} ${count}`).join(", ")}.` : "",
        cls.notes ?? "",
      ].filter(Boolean)
    : cls.pushed && !cls.worked
      ? ["Pushed and measured. Ready to reveal."]
      : [];
  if (JSON.stringify(lines) === box.dataset.lines) return;
  box.dataset.lines = JSON.stringify(lines);
  box.replaceChildren(...lines.map((line) => el("p", {}, line)));
}

function tally(cls) {
  const rows = cls.tally?.rows ?? [];
  byId("tally").hidden = rows.length === 0;
  byId("tally").tBodies[0].replaceChildren(
    ...rows.map(([name, before, after]) =>
      el("tr", {}, el("th", { scope: "row" }, name), el("td", {}, `${before}`), el("td", {}, after === null ? "–" : `${after}`))),
  );
  const reasons = cls.reasons ?? [];
  byId("reasons").hidden = reasons.length === 0;
  byId("reasons").querySelector("ul").replaceChildren(...reasons.map((reason) => el("li", {}, reason)));
}

let drawnPhones = "";
function phones(cls) {
  const button = byId("phones");
  button.setAttribute("aria-pressed", cls.phones ? "true" : "false");
  show(button, cls.phones ? "Close it for phones" : "Let phones guess");
  if (JSON.stringify(cls.phones) === drawnPhones) return;
  drawnPhones = JSON.stringify(cls.phones);
  byId("phones-told").replaceChildren(...(cls.phones ? wayIn(cls.phones) : []));
}

startShared({ keeps: true });
on("car", draw);
on("class", draw);
connect();
ask("/api/lesson")
  .then((lesson) => {
    steps = lesson.steps;
    byId("step").append(el("option", { value: "" }, "choose one"), ...steps.map((step) => el("option", { value: step.name }, step.title)));
    draw();
  })
  .catch((error) => tellTrouble("act", error.message));
byId("step").addEventListener("change", async (event) => {
  if (event.target.value) await act("step", { name: event.target.value }).catch((error) => tellTrouble("act", error.message));
});
byId("guessing").addEventListener("submit", (event) => {
  event.preventDefault();
  byId("guess").click();
});
tap("guess", async () => {
  const picked = byId("choices").querySelector("input:checked");
  const seen = state.class.asked === "seen";
  const sent = { answer: picked?.value ?? "", hands: numberIn(byId("hands")), seen };
  if (!seen) {
    sent.reason = byId("reason").value;
    if (moved || state.class.choices.length === 0)
      Object.assign(sent, { station_pct: numberIn(byId("pin-pct")), side_mm: numberIn(byId("pin-side")) });
  }
  await act("guess", sent);
  // the next one who answers starts from a blank sheet
  if (picked) picked.checked = false;
  byId("reason").value = "";
  byId("hands").value = "1";
  if (view.picture) view.setPin([0.5 * view.picture.wheelbase, 0]);
  moved = false;
});
tap("take-back", () => act("take-back"));
tap("all-in", () => act("all-in"));
tap("weigh-now", () => act("weigh"));
tap("push-now", () => act("push"));
tap("reveal", () => act("reveal"));
tap("second-vote", () => act("second-vote"));
tap("again", () => act("again"));
tap("phones", () => act("phones", { on: !state.class.phones }));
tap("pupils-set", () => {
  const text = byId("pupils").value.trim();
  const count = text === "" ? null : typed(text);
  if (text !== "" && count === null) throw new Error(`“${text}” is no number of pupils.`);
  return act("pupils", { count });
});
