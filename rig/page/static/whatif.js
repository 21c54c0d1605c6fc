// Sliders: while one moves, the newest wish is asked for, never two at a time; after letting go, the whole forecast.
import { ask, on, state } from "./bench.js";
import { tellTrouble } from "./shared.js";
import { byId, el, num, show } from "./words.js";

const SLIDERS = [
  ["front", "grip factor, front", 0.2, 1.6, 0.01, ""],
  ["rear", "grip factor, rear", 0.2, 1.6, 0.01, ""],
  ["ballast_g", "ballast", 0, 400, 5, " g"],
  ["ballast_pct", "ballast at", -40, 140, 1, " %"],
  ["push_pct", "push at", -20, 120, 1, " %"],
];

export function startWhatIf(view) {
  const inputs = {};
  const outs = {};
  const card = { front: 0.8, rear: 0.8, ballast_g: 0, ballast_pct: 110, push_pct: 50 };
  let touched = false;
  let wish = null;
  let asking = false;
  let shown = 0; // raised by every reset: an answer to what was asked before it is not drawn
  let of = ""; // the car and experiment that are asked about
  for (const [name, label, low, high, step, unit] of SLIDERS) {
    const input = el("input", { type: "range", min: low, max: high, step, id: `slide-${name}`, value: card[name], "aria-label": label });
    const out = el("output", { for: `slide-${name}` });
    inputs[name] = input;
    outs[name] = [out, unit, step < 1 ? 2 : 0];
    byId("sliders").append(el("label", {}, el("span", {}, `${label}: `, out), input));
    input.addEventListener("input", () => moved(false));
    input.addEventListener("change", () => moved(true));
  }
  const write = () => {
    for (const [name, [out, unit, digits]] of Object.entries(outs)) {
      const said = num(Number(inputs[name].value), digits) + unit;
      show(out, said);
      inputs[name].setAttribute("aria-valuetext", said);
    }
  };
  const reset = () => {
    touched = false;
    view.held = "";
    byId("drawn").hidden = true;
    wish = null;
    shown++;
    for (const [name, value] of Object.entries(card)) inputs[name].value = value;
    write();
    show(byId("what-words"), "");
    if (state.car?.picture) view.show(state.car.picture);
  };
  on("car", (car) => {
    if (!car.push) return;
    const now = JSON.stringify([car.name, car.test, car.step, car.virtual]);
    if (touched && now !== of) reset();
    of = now;
    Object.assign(card, { front: car.grip.front, rear: car.grip.rear, push_pct: car.push.position_pct });
    if (!touched) for (const [name, value] of Object.entries(card)) inputs[name].value = value;
    write();
    if (touched) moved(true); // weighed anew, say: what was asked is answered for the car as it is now
  });
  byId("what-end").addEventListener("click", reset);

  function moved(whole) {
    touched = true;
    view.held = "what if";
    write();
    wish = { whole, at: performance.now(), of: shown };
    if (!asking) next();
  }
  async function next() {
    const { whole, at, of: mine } = wish;
    wish = null;
    asking = true;
    const query = new URLSearchParams(Object.entries(inputs).map(([name, input]) => [name, input.value]));
    if (whole) query.set("whole", "1");
    try {
      const found = await ask(`/api/what-if?${query}`);
      if (mine === shown) draw(found, at);
      tellTrouble("what", "");
    } catch (error) {
      tellTrouble("what", error.message);
    }
    asking = false;
    if (wish) next();
  }
  function draw(found, at) {
    const picture = state.car?.picture;
    if (!picture) return;
    byId("drawn").hidden = false;
    view.show({
      ...picture,
      load_g: found.load_g,
      cg: null,
      balance: found.balance,
      balance_half: 0,
      measured: null,
      swept: [],
      forecast: found.mark,
      push: [found.push_mm, picture.push[1]],
    });
    const where = found.whole
      ? found.words
      : found.station_pct === null || found.station_pct === undefined
        ? "almost straight, or too near it to name a pivot"
        : `${num(found.station_pct)} % at best estimates`;
    show(
      byId("what-words"),
      `Pivot: ${where}; balance point ${num(found.balance_pct)} %${found.assumed ? "; not weighed yet, 400 g a corner assumed" : ""}.`,
    );
    requestAnimationFrame(() => (window.benchSlide = performance.now() - at));
  }
}
