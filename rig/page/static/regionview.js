// The region of balance points in the car from above, nose to the right. Only drawing: every number is the bench's. mm.
const SVG = "http://www.w3.org/2000/svg";
const make = (tag, attributes = {}, text) => {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  if (text !== undefined) node.textContent = text;
  return node;
};
const path = (loop) => (loop.length ? `M${loop.map(([x, y]) => `${x},${-y}`).join("L")}Z` : "");

// regions: [{ drawn, kind: "now" | "tried", name }]; drawn over each other, the first one's words above the car.
export function drawRegion(box, told, regions) {
  const L = told.wheelbase;
  const wide = Math.max(...told.outline.map(([, y]) => y), ...regions.flatMap(({ drawn }) => drawn.draws.flat().map(([, y]) => Math.abs(y))));
  const left = -0.62 * L, right = 1.62 * L, half = wide + 46;
  const svg = make("svg", { class: "region", role: "img", viewBox: `${left} ${-half} ${right - left} ${2 * half + 34}` });
  const words = regions.map(({ drawn, name }) => `${name}: at rest ${drawn.rest_words}, ${drawn.widths[0].words} near the rear end, ${drawn.widths[1].words} near the front end`);
  svg.setAttribute("aria-label", `The car from above with the region that its balance can reach. ${words.join(". ")}`);
  const scale = make("g", { class: "scale" });
  for (let pct = 0; pct <= 100; pct += 10) scale.append(make("path", { class: "line", d: `M${(pct / 100) * L} ${half}v${pct % 50 ? 6 : 11}` }));
  for (const pct of [0, 50, 100]) scale.append(make("text", { x: (pct / 100) * L, y: half + 28, "text-anchor": "middle" }, `${pct} %`));
  scale.append(make("path", { class: "line", d: `M0 ${half}H${L}` }));
  svg.append(scale, make("path", { class: "outline", d: path(told.outline) }));
  for (const x of [0, L]) for (const y of [-1, 1])
    svg.append(make("rect", { class: "wheel", x: x - 24, y: y * (wide - 12) - 9, width: 48, height: 18, rx: 4 }));
  regions.forEach(({ drawn, kind, name }, index) => {
    const layer = make("g", { class: `reach ${kind}` });
    for (const loop of drawn.draws) layer.append(make("path", { class: "draw", d: path(loop) }));
    layer.append(make("path", { class: "edge", d: drawn.loops.map(path).join("") }));
    for (const [x, y] of drawn.lifts) layer.append(make("path", { class: "lift", d: `M${x} ${-y - 4}l4 7h-8z` }));
    const [x, y] = drawn.rest;
    const [low, high] = drawn.rest_bar;
    const side = index === 0 ? -1 : 1; // words of the first above, of the second below
    layer.append(
      make("path", { class: "bar", d: `M${low} ${-y}H${high}M${low} ${-y - 5}v10M${high} ${-y - 5}v10M${x - 5} ${-y - 5}l10 10m0 -10l-10 10` }),
      make("text", { x, y: side * (half - 12) + (side > 0 ? 4 : 4), "text-anchor": "middle" }, `${name}: at rest ${drawn.rest_words}`),
    );
    drawn.widths.forEach(({ at, half: reach, words: said }, end) => {
      const to = end ? L + 30 : -30;
      layer.append(
        make("path", { class: "width", d: `M${at} ${-reach}V${reach}M${at} ${side * reach}L${to} ${side * 26}` }),
        make("text", { x: to + (end ? 4 : -4), y: side * 26 + 5, "text-anchor": end ? "start" : "end" }, said),
      );
    });
    svg.append(layer);
  });
  box.replaceChildren(svg);
  const fit = () => {
    const size = Math.max(13, 0.8 * parseFloat(getComputedStyle(box).fontSize));
    svg.setAttribute("font-size", ((size * (right - left)) / (svg.clientWidth || 600)).toFixed(2));
  };
  fit();
  new ResizeObserver(fit).observe(svg);
}
