// The record of the bench: everything recorded, and measured beside forecast across set-ups.
import { act, ask, on } from "./bench.js";
import { keepLegible, tap, tellTrouble } from "./shared.js";
import { byId, el, num, show } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const node = (tag, attributes, text) => {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  if (text !== undefined) made.textContent = text;
  return made;
};
const table = (heads, rows) =>
  el("table", {}, el("thead", {}, el("tr", {}, ...heads.map((head) => el("th", { scope: "col" }, head)))),
    el("tbody", {}, ...rows.map((row) => el("tr", {}, ...row.map((cell) => el("td", {}, cell))))));

function dots(rows) {
  // drawn as wide as it is shown, so that its letters are as large as the page's
  const low = -100, high = 160, width = Math.max(300, byId("compared").clientWidth), line = 26;
  const x = (pct) => 30 + ((Math.min(Math.max(pct, low), high) - low) / (high - low)) * (width - 60);
  const svg = node("svg", { viewBox: `0 0 ${width} ${rows.length * line + 40}`, class: "dots", role: "img", "font-size": 15,
    "aria-label": "Pivots along the car, per cent of the wheelbase, measured and forecast with their intervals; the table below has the figures" });
  for (const pct of width < 480 ? [-100, 0, 100] : [-100, -50, 0, 50, 100, 150])
    svg.append(node("path", { d: `M${x(pct)} 0V${rows.length * line + 8}`, stroke: "currentColor", opacity: pct % 100 ? 0.15 : 0.45 }),
      node("text", { x: x(pct), y: rows.length * line + 28, "text-anchor": "middle" }, `${num(pct, 0)} %`));
  rows.forEach((row, index) => {
    const y = index * line + 14;
    for (const [kind, pivot, dy] of [["measured", row.measured, -4], ["forecast", row.forecast, 5]]) {
      if (!pivot || pivot.station_pct === null || pivot.station_pct === undefined) continue;
      const group = node("g", { class: kind });
      const [a, b] = pivot.interval_pct;
      group.append(
        node("path", { d: `M${x(a)} ${y + dy}H${x(b)}`, class: "far" }),
        kind === "measured"
          ? node("circle", { cx: x(pivot.station_pct), cy: y + dy, r: 5, class: "mark" })
          : node("path", { d: `M${x(pivot.station_pct)} ${y + dy - 6}l6 6-6 6-6-6z`, class: "mark" }),
      );
      svg.append(group);
    }
    svg.append(node("text", { x: 12, y: y + 5 }, `${index + 1}`));
  });
  return svg;
}

export function startRecord() {
  let timer = 0;
  async function load() {
    try {
      const [past, across] = await Promise.all([ask("/api/record"), ask("/api/compared")]);
      byId("compared").replaceChildren(
        ...(across.rows.length
          ? [
              dots(across.rows),
              table(["row", "set-up", "test", "measured", "forecast", "verdict"],
                across.rows.map((row, i) => [`${i + 1}`, row.setup, row.test, row.measured?.words ?? "typed in", row.forecast.words, row.verdict])),
            ]
          : [el("p", { class: "quiet" }, "Nothing compared yet: weigh, push, and the verdicts stand here side by side.")]),
      );
      offerChange(across.rows.filter((row) => row.measured));
      byId("records").replaceChildren(
        table(["no.", "UTC", "what", "of", "result"],
          past.records.slice(0, 60).map((one) => [`${one.number}`, one.at.slice(0, 19).replace("T", " "), one.kind, one.title, one.words])),
      );
      tellTrouble("record", "");
    } catch (error) {
      tellTrouble("record", error.message);
    }
  }
  // two pushes to choose from: by itself the newest one, and the newest of another set-up before it
  let offered = "";
  keepLegible(byId("changed-picture"), 16.8); // 11 points at 110 dots an inch
  function offerChange(rows) {
    const key = JSON.stringify(rows.map((row) => row.number));
    if (key === offered) return;
    offered = key;
    const last = rows.at(-1);
    const before = rows.findLast((row) => row.setup !== last?.setup || row.test !== last?.test) ?? rows.at(-2);
    for (const [id, chosen] of [["change-a", before], ["change-b", last]])
      byId(id).replaceChildren(
        ...rows.map((row) => el("option", { value: row.number, selected: row === chosen }, `${row.number}: ${row.setup}, ${row.test}`)));
    byId("change-go").disabled = rows.length < 2;
  }
  tap("change-go", () => act("change", { a: Number(byId("change-a").value), b: Number(byId("change-b").value) }));
  on("change", (change) => {
    byId("changed").hidden = change.lines.length === 0;
    if (!change.lines.length) return;
    byId("changed-lines").replaceChildren(...[...change.lines, change.why].filter(Boolean).map((line) => el("li", {}, line)));
    byId("changed-picture").src = change.picture;
    byId("changed-film").hidden = !change.film;
    if (change.film) byId("changed-video").src = change.film;
    show(byId("changed-words"), change.words ?? "");
  });
  let wide = 0;
  new ResizeObserver(() => {
    if (Math.abs(byId("compared").clientWidth - wide) > 8) soon();
    wide = byId("compared").clientWidth;
  }).observe(byId("compared"));
  const soon = () => {
    clearTimeout(timer);
    timer = setTimeout(load, 150);
  };
  on("job", (job) => job.running || soon());
  on("car", soon);
  on("first", soon);
}
