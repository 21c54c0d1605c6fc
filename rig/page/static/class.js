import { act, ask, connect, on, state } from "./bench.js";
import { CarView } from "./car.js";
import { numberIn } from "./numbers.js";
import { startShared, tap, tellTrouble, tiePin } from "./shared.js";
import { byId, el, show } from "./words.js";

const view = new CarView(byId("car"), { pin: true });
tiePin(view, byId("pin-pct"), byId("pin-side"));
let steps = [];

function draw() {
  const car = state.car, cls = state.class;
  if (!car?.picture || !cls) return;
  const revealed = cls.phase === "reveal";
  // until the reveal the screen shows the car and the guesses, not the answer
  view.show(revealed ? car.picture : { ...car.picture, measured: null, forecast: null, swept: [], balance: null });
  view.guesses(cls.guesses);
  show(byId("question"), cls.question);
  show(byId("count"), cls.guesses.length === 1 ? "1 guess on the board." : `${cls.guesses.length} guesses on the board.`);
  byId("guessing").hidden = revealed;
  view.layers.pin.toggleAttribute("hidden", revealed);
  byId("reveal").disabled = revealed || !car.verdict;
  byId("push-now").disabled = !car.virtual || !car.weights;
  byId("weigh-now").disabled = !car.virtual && state.port?.state === "no pads";
  const answer = byId("answer");
  answer.replaceChildren();
  if (revealed && cls.measured)
    answer.append(
      el("p", {}, cls.sentence),
      el("p", {}, `Measured: ${cls.measured.words}`),
      el("p", {}, `Forecast: ${cls.forecast.words}`),
      el("p", {}, cls.spread.words),
      el("p", {}, cls.notes ?? ""),
    );
  else if (cls.pushed) answer.append(el("p", {}, "Pushed and measured. Ready to reveal."));
  const phones = byId("phones");
  phones.setAttribute("aria-pressed", cls.phones ? "true" : "false");
  show(phones, cls.phones ? "Close it for phones" : "Let phones guess");
  byId("phones-told").replaceChildren(
    ...(cls.phones ? [el("span", {}, cls.phones.address, " code "), el("strong", { class: "code" }, cls.phones.code)] : []),
  );
  const step = steps.find((one) => one.name === car.step);
  if (step) byId("step").value = step.name;
  show(byId("todo"), step?.todo ?? "");
  show(byId("caution"), step?.caution ?? "");
  show(byId("notes"), step?.notes ?? "");
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
tap("guess", () => act("guess", { station_pct: numberIn(byId("pin-pct")), side_mm: numberIn(byId("pin-side")) }));
tap("take-back", () => act("take-back"));
tap("weigh-now", () => act("weigh"));
tap("push-now", () => act("push"));
tap("reveal", () => act("reveal"));
tap("again", () => act("again"));
tap("phones", () => act("phones", { on: !state.class.phones }));
