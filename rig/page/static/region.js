// On the move: where the balance can go, as the car is and as it is tried; nothing is written unless asked.
import { act, ask, on, state } from "./bench.js";
import { drawRegion } from "./regionview.js";
import { Newest, Sliders } from "./sliders.js";
import { tap, tellTrouble } from "./shared.js";
import { byId, el, show } from "./words.js";

const SLIDERS = [
  ["spring_front", "front springs", 50, 200, 5, " % of the card’s"],
  ["spring_rear", "rear springs", 50, 200, 5, " % of the card’s"],
  ["bar_front", "front bar, at the wheel", 0, 3, 0.1, " N/mm"],
  ["bar_rear", "rear bar, at the wheel", 0, 3, 0.1, " N/mm"],
  ["height_mm", "body higher by", -6, 6, 0.5, " mm"],
  ["ballast_g", "ballast", 0, 400, 10, " g"],
  ["ballast_pct", "ballast at", -30, 130, 5, " %"],
];

export function startRegion() {
  const plain = { spring_front: 100, spring_rear: 100, bar_front: 0, bar_rear: 0, height_mm: 0, ballast_g: 0, ballast_pct: 50 };
  let open = false;
  let of = ""; // what stood on the cards when it was asked
  const sliders = new Sliders("move-sliders", SLIDERS, moved, "move");
  const newest = new Newest("move", (values) => ask(`/api/region?${new URLSearchParams(values)}`), draw);

  // a bar that stands where the card has it is the card's, to its last digit
  function wished() {
    const values = sliders.values();
    for (const end of ["bar_front", "bar_rear"]) if (Math.abs(values[end] - plain[end]) < 0.05) values[end] = -1;
    return values;
  }
  function moved() {
    sliders.write();
    byId("moving").setAttribute("aria-busy", "true");
    newest.want(wished());
  }
  function draw(told, at) {
    open = true;
    byId("moving").hidden = false;
    byId("moving").removeAttribute("aria-busy");
    byId("move-go").hidden = true;
    const [front, rear] = told.bars;
    const first = plain.bar_front === front && plain.bar_rear === rear;
    Object.assign(plain, { bar_front: front, bar_rear: rear });
    for (const [name, bar] of [["bar_front", front], ["bar_rear", rear]])
      sliders.inputs[name].max = Math.max(3, Math.ceil(2 * bar));
    if (!first && !told.tried) sliders.set(plain);
    const regions = [{ drawn: told.now.drawn, kind: "now", name: told.tried ? "now" : told.car }];
    if (told.tried) regions.push({ drawn: told.tried.drawn, kind: "tried", name: "tried" });
    drawRegion(byId("region"), told, regions);
    byId("key-tried").hidden = byId("region-tried-head").hidden = !told.tried;
    byId("region-table").tBodies[0].replaceChildren(
      ...told.now.rows.map(([where, much], i) =>
        el("tr", {}, el("th", { scope: "row" }, where), el("td", {}, much), told.tried ? el("td", {}, told.tried.rows[i][1]) : null)));
    const list = (id, lines) => byId(id).replaceChildren(...lines.map((line) => el("li", {}, line[0].toUpperCase() + line.slice(1))));
    show(byId("region-change"), told.tried?.change ?? "");
    show(byId("region-moved"), [told.tried ? `The region: ${told.tried.moved}.` : "", told.now.lifts ? `As it is: ${told.now.lifts}.` : "", told.tried?.lifts ? `As tried: ${told.tried.lifts}.` : ""].filter(Boolean).join(" "));
    list("region-rests", [...told.remarks, ...told.closing]);
    byId("move-keep").disabled = !told.tried;
    byId("move-print").href = `/print/region?${new URLSearchParams(wished())}`;
    requestAnimationFrame(() => (window.benchRegion = performance.now() - at));
  }
  function back() {
    newest.reset();
    sliders.set(plain);
    moved();
  }
  sliders.set(plain);
  tap("move-go", () => moved());
  tap("move-back", back);
  tap("move-keep", () => act("keep-tried", wished()).then(back));
  on("car", (car) => {
    if (!car.picture) return;
    const now = JSON.stringify([car.name, car.test, car.step, car.virtual]);
    const weighed = JSON.stringify([car.weights?.record, car.verdict?.record]);
    byId("move-go").disabled = !car.weights;
    if (open && (now !== of[0] || weighed !== of[1])) {
      if (now !== of[0]) {
        // another car: what was tried on the one before is not tried on this one
        open = false;
        newest.reset();
        sliders.set(plain);
        byId("moving").hidden = true;
        byId("move-go").hidden = false;
        tellTrouble("move", "");
      } else moved();
    }
    of = [now, weighed];
  });
  on("link", (link) => link.restarted && open && state.car && moved());
}
