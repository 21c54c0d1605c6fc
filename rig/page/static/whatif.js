// What if: while a slider moves, the best estimate; after letting go, the whole forecast.
import { ask, on, state } from "./bench.js";
import { Newest, Sliders } from "./sliders.js";
import { byId, num, show } from "./words.js";

const SLIDERS = [
  ["front", "grip factor, front", 0.2, 1.6, 0.01, ""],
  ["rear", "grip factor, rear", 0.2, 1.6, 0.01, ""],
  ["ballast_g", "ballast", 0, 400, 5, " g"],
  ["ballast_pct", "ballast at", -40, 140, 1, " %"],
  ["push_pct", "push at", -20, 120, 1, " %"],
];

export function startWhatIf(view) {
  const card = { front: 0.8, rear: 0.8, ballast_g: 0, ballast_pct: 110, push_pct: 50 };
  let touched = false;
  let of = ""; // the car and experiment that are asked about
  const sliders = new Sliders("sliders", SLIDERS, moved);
  const newest = new Newest(
    "what",
    ({ whole, values }) => ask(`/api/what-if?${new URLSearchParams({ ...values, ...(whole ? { whole: "1" } : {}) })}`),
    draw,
  );
  const reset = () => {
    touched = false;
    view.held = "";
    byId("drawn").hidden = true;
    newest.reset();
    sliders.set(card);
    show(byId("what-words"), "");
    if (state.car?.picture) view.show(state.car.picture);
  };
  sliders.set(card);
  on("car", (car) => {
    if (!car.push) return;
    const now = JSON.stringify([car.name, car.test, car.step, car.virtual]);
    if (touched && now !== of) reset();
    of = now;
    Object.assign(card, { front: car.grip.front, rear: car.grip.rear, push_pct: car.push.position_pct });
    if (!touched) sliders.set(card);
    if (touched) moved(true); // weighed anew, say: what was asked is answered for the car as it is now
  });
  byId("what-end").addEventListener("click", reset);

  function moved(whole) {
    touched = true;
    view.held = "what if";
    sliders.write();
    newest.want({ whole, values: sliders.values() });
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
