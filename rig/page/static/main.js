import { act, ask, connect, on, send, state } from "./bench.js";
import { CarView } from "./car.js";
import { startEditor } from "./cards.js";
import { startFreeze } from "./freeze.js";
import { startLive } from "./live.js";
import { startLivePush } from "./livepush.js";
import { numberIn, typed } from "./numbers.js";
import { startRecord } from "./record.js";
import { startRegion } from "./region.js";
import { startReplay } from "./replay.js";
import { keepLegible, startShared, tap, tellTrouble, tiePin } from "./shared.js";
import { startWhatIf } from "./whatif.js";
import { byId, el, num, show, told } from "./words.js";

const view = new CarView(byId("car"), { pin: true });
tiePin(view, byId("pin-pct"), byId("pin-side"));
startShared();

// the car
on("car", (car) => {
  if (!car.picture) return;
  show(byId("carname"), car.name);
  if (!view.held) view.show(car.picture);
  if (car.verdict) view.drawMark("tried", null);
  const w = car.weights;
  show(byId("total"), w ? `${told(w.total_g)} g` : "–");
  show(byId("front"), w ? `${told(w.front_pct, 2)} %` : "–");
  show(byId("left"), w ? `${told(w.left_pct, 2)} %` : "–");
  show(byId("flrr"), w ? `${told(w.diagonal_fl_rr_pct, 2)} %` : "–");
  show(byId("frrl"), w ? `${told(w.diagonal_fr_rl_pct, 2)} %` : "–");
  show(byId("cg"), w?.cg_x_m ? `${num(1e3 * w.cg_x_m.value)} mm ahead of the rear axle, ${num(1e3 * w.cg_y_m.value)} mm left` : "–");
  const wheels = ["front left", "front right", "rear left", "rear right"];
  byId("weights-print").hidden = !w;
  byId("weights-table").tBodies[0].replaceChildren(
    ...wheels.map((name, i) =>
      el("tr", {}, el("th", { scope: "row" }, name),
        el("td", {}, w ? `${num(w.corner_weights_g[i])} ± ${num((w.corner_interval_g[i][1] - w.corner_interval_g[i][0]) / 2)}` : "not weighed"))),
  );
  const v = car.verdict;
  const results = v
    ? [["what happened", v.sentence], ...v.said.map((line) => ["", line]), ["measured pivot", v.measured.words], ["forecast pivot", v.forecast.words], ["verdict", v.verdict]]
    : [["what happened", "nothing was pushed yet"]];
  byId("results-table").tBodies[0].replaceChildren(
    ...results.map(([name, found]) => el("tr", {}, el("th", { scope: "row" }, name || "balance"), el("td", {}, found))));
  byId("weigh-notes").replaceChildren(...(w?.warnings ?? []).map((text) => el("li", {}, text)));
  const virtual = byId("virtual");
  virtual.setAttribute("aria-pressed", car.virtual ? "true" : "false");
  show(virtual, `Virtual bench: ${car.virtual ? "on" : "off"}`);
  byId("push-now").hidden = byId("place").hidden = !car.virtual;
  byId("film").disabled = byId("clip").disabled = !car.weights;
  show(byId("push-now"), car.weights ? "Push and film the virtual car" : "Weigh, push and film the virtual car");
  for (const id of ["hidden-start", "hidden-push"]) byId(id).disabled = !car.virtual;
  verdict(car.verdict);
});

function verdict(v) {
  byId("verdict").hidden = !v;
  if (!v) return;
  show(byId("sentence"), v.sentence);
  byId("from-above").hidden = !v.picture;
  if (v.picture && byId("from-above-picture").getAttribute("src") !== v.picture.src) {
    byId("from-above-picture").alt = v.picture.alt;
    byId("from-above-picture").src = v.picture.src;
  }
  byId("said").replaceChildren(...v.said.map((text) => el("li", {}, text)));
  show(byId("advice"), v.advice);
  byId("details").replaceChildren(
    el("p", {}, v.found),
    el("p", {}, `Measured: ${v.measured.words}; ${v.measured.turn}.`),
    el("p", {}, `Forecast: ${v.forecast.words}; ${v.forecast.turn}.`),
    el("p", {}, `Balance point by weights and grip ${num(v.balance_pct)} % of the wheelbase. ${v.kind}.`),
    el("p", {}, "What makes the forecast uncertain: " + v.sensitivity.map(([name, share]) => `${name} ${share} %`).join(", ") + "."),
    el("ul", { class: "notes" }, ...v.notes.map((text) => el("li", {}, text))),
    el("p", {}, `Record ${v.record} of the log.`),
  );
}

keepLegible(byId("from-above-picture"), 22.9); // 11 points at 150 dots an inch

// first try
let firstShown = null;
let firstHeard = false; // the first one that comes is what was there already
on("first", (first) => {
  const watched = firstHeard;
  firstHeard = true;
  if (!first.sentence || firstShown === first.record) return;
  firstShown = first.record;
  show(byId("first-said"), watched ? "" : first.sentence);
  const end = () => {
    show(byId("first-said"), first.sentence);
    view.drawMark(first.of_this_bench ? "measured" : "tried", { place: first.place_mm, region: [] });
  };
  view.drawMark("tried", null);
  if (watched) view.swing(first.poses, end, 12, first.of_this_bench ? "" : "tried");
});
tap("virtual", () => act("virtual", { on: !state.car?.virtual }));
tap("first-push", () => act("first-push", { station_pct: numberIn(byId("pin-pct")), side_mm: numberIn(byId("pin-side")) }));

// weighing
on("port", (port) => show(byId("port"), `${port.sentence}.${port.state === "no pads" ? ` ${port.remedy}.` : ""}`));
tap("zero", () => act("zero"));
let placed = false;
tap("place", async () => {
  await act("place", { on: !placed });
  placed = !placed;
  show(byId("place"), placed ? "Take the car off the pads" : "Set the car on the pads");
});
tap("weigh-now", () => act("weigh", { placings: numberIn(byId("placings")) }));
tap("weigh-typed", () =>
  act("weigh-typed", {
    weights_g: [0, 1, 2, 3].map((i) => numberIn(byId(`w${i}`))),
    resolution_g: numberIn(byId("wstep")),
  }),
);
tap("calibrate", () =>
  act("calibrate", {
    masses_g: byId("masses")
      .value.trim()
      .split(/[\s;]+/)
      .map((text) => {
        const mass = typed(text);
        if (mass === null) throw new Error(text ? `“${text}” is no mass in grams; part masses by spaces.` : "No mass is typed.");
        return mass;
      }),
    mass_u_g: numberIn(byId("mass-u")),
  }),
);

// pushing
tap("push-now", () => act("push"));
tap("typed-go", () => act("typed-pivot", { pivot_pct: numberIn(byId("typed-pct")), u_pct: numberIn(byId("typed-u")) }));
byId("clip").addEventListener("change", async (event) => {
  const [file] = event.target.files;
  if (!file) return;
  try {
    tellTrouble("act", "");
    await send("/api/clip", file, "application/octet-stream");
  } catch (error) {
    tellTrouble("act", error.message);
  }
  event.target.value = "";
});

// the camera
startLivePush();
on("camera", (camera) => {
  if (!camera.on) return;
  const state = camera.recording ? "Recording. " : camera.advice.length ? "" : "Ready: push now. ";
  const seen = `Markers seen: ${camera.floor_seen} of ${camera.floor_of} on the floor, ${camera.car_seen} of ${camera.car_of} on the car. `;
  show(byId("camera-words"), `${state}${seen}${camera.advice[0] ?? ""} (${camera.mode})`);
});
tap("film", () => act("film"));

// the hidden change
on("hidden", (hidden) => {
  show(byId("hidden-said"), [hidden.sentence, hidden.next].filter(Boolean).join(". "));
  byId("hidden-odds").hidden = hidden.odds.length === 0;
  byId("hidden-odds").tBodies[0].replaceChildren(
    ...hidden.odds.map(([name, p]) => el("tr", {}, el("th", { scope: "row" }, name), el("td", {}, `${num(100 * p, p > 0.995 || p < 0.005 ? 2 : 0)} %`))),
  );
});
tap("hidden-start", () => act("hidden-start"));
tap("hidden-push", () => act("hidden-push", { position_pct: numberIn(byId("hidden-at")) }));
tap("hidden-reveal", () => act("hidden-reveal"));

// the lesson: after choosing an experiment the next thing to do is to weigh its car
let lessonSteps = [];
const goTo = (name) =>
  act("step", { name })
    .then(() => {
      byId("weigh-now").focus();
      byId("weigh").scrollIntoView();
    })
    .catch((error) => tellTrouble("act", error.message));
function offerNext(car) {
  const at = lessonSteps.findIndex((step) => step.name === car?.step);
  const next = at >= 0 ? lessonSteps[at + 1] : undefined;
  byId("next-step").hidden = !next;
  if (next) show(byId("next-step"), `Next experiment: ${next.title}`);
  byId("next-step").dataset.name = next?.name ?? "";
}
byId("next-step").addEventListener("click", (event) => goTo(event.currentTarget.dataset.name));
ask("/api/lesson")
  .then((lesson) => {
    lessonSteps = lesson.steps;
    offerNext(state.car);
    byId("cautions").replaceChildren(...lesson.cautions.map((text) => el("li", {}, text)));
    byId("steps").replaceChildren(
      ...lesson.steps.map((step) => {
        const go = el("button", { type: "button", id: `step-${step.name}` }, step.title);
        go.addEventListener("click", () => goTo(step.name));
        return el("li", {}, go, el("p", {}, step.question), el("details", {}, el("summary", {}, "For the teacher"),
          el("p", {}, step.todo), el("p", {}, step.notes), el("p", {}, step.caution)));
      }),
    );
  })
  .catch((error) => tellTrouble("act", error.message));
on("car", (car) => {
  offerNext(car);
  for (const button of byId("steps").querySelectorAll("button"))
    button.setAttribute("aria-pressed", button.id === `step-${car.step}` ? "true" : "false");
});

startLive(view);
startWhatIf(view);
startRegion();
startFreeze();
startReplay();
startEditor();
startRecord();
connect();
window.benchReady = performance.now();
