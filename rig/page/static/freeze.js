// A moment frozen at rest: where the ballast goes. Only drawing and asking: every number is the bench's. mm.
import { ask, on } from "./bench.js";
import { numberIn } from "./numbers.js";
import { tap } from "./shared.js";
import { byId, el, show } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const make = (tag, attributes = {}, text) => {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  if (text !== undefined) node.textContent = text;
  return node;
};

// The car from above, nose to the right; the ballast's places numbered as the table's rows, one above the other where
// several moments share one.
function drawCar(box, told) {
  const [xs, ys] = [told.outline.map(([x]) => x), told.outline.map(([, y]) => y)];
  const half = Math.max(...ys);
  const [left, right] = [Math.min(...xs, ...told.places_mm.map(([x]) => x)) - 24, Math.max(...xs, ...told.places_mm.map(([x]) => x)) + 24];
  const words = told.rows.map((row, i) => `${i + 1}: ${row[0]}, ${row[2]}`).join("; ");
  const svg = make("svg", { class: "frozen", role: "img", viewBox: `${left} ${-half - 12} ${right - left} ${2 * half + 24}`, "aria-label": `The car from above, nose to the right, with the places of the ballast. ${words}` });
  svg.append(make("polygon", { class: "outline", points: told.outline.map(([x, y]) => `${x},${-y}`).join(" ") }),
    make("path", { class: "nose", d: `M${Math.max(...xs) - 16} -12l14 12-14 12` }));
  for (const [x, y] of told.contacts) svg.append(make("rect", { class: "wheel", x: x - 24, y: -y - 9, width: 48, height: 18, rx: 4 }));
  const groups = [];
  told.places_mm.forEach(([x, y], i) => {
    const near = groups.find((group) => Math.hypot(group.x - x, group.y - y) < 24);
    if (near) near.names.push(i + 1);
    else groups.push({ x, y, names: [i + 1] });
  });
  if (told.lies_mm !== undefined) svg.append(make("circle", { class: "lies", cx: told.lies_mm, cy: 0, r: 15 }));
  for (const { x, y, names } of groups) {
    svg.append(make("circle", { class: "ballast", cx: x, cy: -y, r: 7 }));
    svg.append(make("text", { x, y: -y - 14, "text-anchor": "middle" }, names.join(" ")));
  }
  box.replaceChildren(svg);
  const fit = () => svg.setAttribute("font-size", (15 / (svg.getScreenCTM()?.a || 1)).toFixed(2));
  fit();
  new ResizeObserver(fit).observe(svg);
}

export function startFreeze() {
  tap("freeze-go", async () => {
    const asked = new URLSearchParams({ ballast_g: numberIn(byId("freeze-g")) });
    if (byId("freeze-at").value.trim()) asked.set("at_mm", numberIn(byId("freeze-at")));
    byId("freeze-go").disabled = true;
    try {
      const told = await ask(`/api/freeze?${asked}`);
      byId("frozen").hidden = false;
      drawCar(byId("freeze-car"), told);
      byId("freeze-table").tBodies[0].replaceChildren(
        ...told.rows.map(([name, ...cells], i) =>
          el("tr", {}, el("th", { scope: "row" }, `${i + 1} ${name}`), ...cells.map((cell) => el("td", {}, cell)))));
      show(byId("freeze-note"), told.note);
    } finally {
      byId("freeze-go").disabled = false;
    }
  });
  let of = "";
  on("car", (car) => {
    byId("freeze-go").disabled = !car.weights;
    const now = JSON.stringify([car.name, car.test, car.step, car.virtual, car.weights?.record]);
    if (of && of !== now) byId("frozen").hidden = true; // it was of another car, or of other weights
    of = now;
  });
}
