// The region of balance points in the car from above, nose to the right. Only drawing: every number is the bench's. mm.
const SVG = "http://www.w3.org/2000/svg";
const make = (tag, attributes = {}, text) => {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  if (text !== undefined) node.textContent = text;
  return node;
};
const path = (loop) => (loop.length ? `M${loop.map(([x, y]) => `${x},${-y}`).join("L")}Z` : "");

// regions: [{ drawn, kind: "now" | "tried", name }], over each other and large, with the whole car small beside them.
export function drawRegion(box, told, regions) {
  const L = told.wheelbase;
  const all = regions.flatMap(({ drawn }) => [...drawn.draws.flat(), ...drawn.loops.flat()]);
  const [xs, ys] = [all.map(([x]) => x), all.map(([, y]) => Math.abs(y))];
  const middle = (Math.min(...xs) + Math.max(...xs)) / 2;
  const reach = Math.max(...ys, 8);
  const wide = Math.max(0.62 * (Math.max(...xs) - Math.min(...xs)), 1.5 * reach, 30);
  const view = [middle - wide, -1.5 * reach, 2 * wide, 3.3 * reach];
  const svg = make("svg", { class: "region", role: "img", viewBox: view.map((v) => v.toFixed(2)).join(" ") });
  const words = regions.map(({ drawn, name }) => `${name}: at rest ${drawn.rest_words}, ${drawn.widths[0].words} near the rear end, ${drawn.widths[1].words} near the front end`);
  svg.setAttribute("aria-label", `The car from above, nose to the right, with the region that its balance can reach. ${words.join(". ")}`);
  const across = Math.min(400, box.clientWidth || 400);
  const dot = view[2] / across; // about a pixel
  const bottom = view[1] + view[3];
  const scale = make("g", { class: "scale" });
  const shown = [...Array(61).keys()].map((i) => 5 * (i - 20)).filter((pct) => (pct / 100) * L > view[0] + 12 * dot && (pct / 100) * L < view[0] + view[2] - 12 * dot);
  const step = [10, 20, 50, 100].find((pct) => ((pct / 100) * L) / dot > 46) ?? 100; // figures apart from each other
  for (const pct of shown) {
    const x = (pct / 100) * L;
    scale.append(make("path", { class: "grid", d: `M${x} ${view[1]}V${bottom - 22 * dot}` }));
    if (pct % step === 0 && x > view[0] + 20 * dot && x < view[0] + view[2] - 20 * dot) scale.append(make("text", { x, y: bottom - 6 * dot, "text-anchor": "middle" }, `${pct} %`));
  }
  scale.append(make("path", { class: "middle", d: `M${view[0]} 0H${view[0] + view[2]}` }));
  svg.append(scale);
  regions.forEach(({ drawn, kind }, index) => {
    const layer = make("g", { class: `reach ${kind}` });
    for (const loop of drawn.draws) layer.append(make("path", { class: "draw", d: path(loop) }));
    layer.append(make("path", { class: "edge", d: drawn.loops.map(path).join("") }));
    for (const [x, y] of drawn.lifts) layer.append(make("path", { class: "lift", d: `M${x} ${-y - 4 * dot}l${4 * dot} ${7 * dot}h${-8 * dot}z` }));
    const [x, y] = drawn.rest;
    const [low, high] = drawn.rest_bar;
    const d = 5 * dot;
    layer.append(make("path", { class: "bar", d: `M${low} ${-y}H${high}M${low} ${-y - d}v${2 * d}M${high} ${-y - d}v${2 * d}M${x - d} ${-y - d}l${2 * d} ${2 * d}m0 ${-2 * d}l${-2 * d} ${2 * d}` }));
    const side = index === 0 ? -1 : 1; // words of the first above, of the second below
    const line = side < 0 ? view[1] + 16 * dot : bottom - 28 * dot;
    drawn.widths.forEach(({ at, half, words: said }, end) => {
      const to = middle + (end ? 8 : -8) * dot;
      layer.append(
        make("path", { class: "width", d: `M${at} ${-half}V${half}M${at} ${side * half}L${to + (end ? 60 : -60) * dot} ${line - side * 10 * dot + (side < 0 ? -4 * dot : -2 * dot)}` }),
        make("text", { x: to, y: line, "text-anchor": end ? "start" : "end" }, across < 360 ? said.replace(/ wide$/, "") : said),
      );
    });
    svg.append(layer);
  });
  const small = carSmall(told, view, regions);
  // as large as the words around it, whatever the drawing's scale
  const fit = () => {
    const size = Math.max(13, 0.75 * parseFloat(getComputedStyle(box).fontSize));
    svg.setAttribute("font-size", (size / (svg.getScreenCTM()?.a || 1)).toFixed(3));
  };
  box.replaceChildren(svg, small);
  fit();
  const watching = new ResizeObserver(() => {
    if (!svg.isConnected) watching.disconnect();
    else if (Math.abs(Math.min(400, box.clientWidth || across) - across) > 20) drawRegion(box, told, regions);
    else fit();
  });
  watching.observe(svg);
}

// The whole car, small: which part of it the large drawing shows.
function carSmall(told, view, regions) {
  const xs = told.outline.map(([x]) => x), ys = told.outline.map(([, y]) => y);
  const [left, right, half] = [Math.min(...xs), Math.max(...xs), Math.max(...ys)];
  const svg = make("svg", { class: "region small", "aria-hidden": "true", viewBox: `${left - 8} ${-half - 8} ${right - left + 16} ${2 * half + 16}` });
  svg.append(make("path", { class: "outline", d: path(told.outline) }), make("path", { class: "outline", d: `M${right - 16} -12l14 12-14 12`, fill: "none" }));
  for (const x of [0, told.wheelbase]) for (const y of [-1, 1])
    svg.append(make("rect", { class: "wheel", x: x - 24, y: y * (half - 14) - 9, width: 48, height: 18, rx: 4 }));
  for (const { drawn, kind } of regions) {
    const layer = make("g", { class: `reach ${kind}` });
    layer.append(make("path", { class: "edge", d: drawn.loops.map(path).join("") }));
    svg.append(layer);
  }
  svg.append(make("rect", { class: "frame", x: view[0], y: view[1], width: view[2], height: view[3] }));
  return svg;
}
