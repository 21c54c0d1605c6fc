// Live loads: discs, sums and the trace of the last half minute. Drawn once a frame, whatever comes in.
import { on, state } from "./bench.js";
import { byId, num, show } from "./words.js";

const SAME_LOAD = 0.02; // of the car's weight, at one wheel
const SHOWN_MS = 30000;
const NAMES = ["front left", "front right", "rear left", "rear right"];

export function startLive(view) {
  const trace = [[], [], [], [], []];
  let newest = null;
  let waiting = false;
  let heard = 0; // when the newest reading was drawn
  let plot = null;
  let drawnTrace = 0;
  const times = (window.benchTimes = []); // ms from reading to drawn, newest 600: for measuring this page
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  function makePlot() {
    if (!window.uPlot) return null;
    const ink = colour("--quiet");
    const axis = { stroke: ink, font: "14px system-ui", grid: { stroke: colour("--edge"), width: 1 } };
    const dashes = [[], [8, 4], [3, 3], [12, 3, 3, 3]];
    return new window.uPlot(
      {
        width: byId("trace").clientWidth || 320,
        height: 190,
        legend: { show: false },
        cursor: { show: false },
        scales: { x: { time: false } },
        axes: [
          { ...axis, values: (_, ticks) => ticks.map((v) => `${num(v, 0)} s`) },
          { ...axis, size: 64, values: (_, ticks) => ticks.map((v) => `${num(v, 0)} g`) },
        ],
        series: [{}, ...NAMES.map((label, i) => ({ label, stroke: colour(["--load", "--forecast", "--measured", "--guess"][i]), width: 2, dash: dashes[i] }))],
      },
      [[], [], [], [], []],
      byId("trace"),
    );
  }

  function draw() {
    waiting = false;
    const now = newest;
    if (!now) return;
    heard = performance.now();
    const fresh = now.load_g && now.load_g.every((g) => g !== null);
    if (fresh && now.total_g > 20 && !view.held) {
      // centre of gravity and balance line belong to the weights on record: they go where other loads stand on the pads
      const on = state.car?.picture;
      const same = on?.load_g?.every((g, i) => Math.abs(g - now.load_g[i]) < SAME_LOAD * now.total_g);
      view.drawLoads(now.load_g, same ? on.cg : null);
      if (same) view.drawBalance(on);
    }
    const at = now.settled ? "at rest" : "moving";
    const faults = (now.faults ?? []).map((text, i) => (text ? `${NAMES[i]}: ${text}` : "")).filter(Boolean);
    show(
      byId("live-words"),
      now.missing
        ? now.missing
        : faults.length
          ? faults.join("; ")
          : `Live: ${num(now.total_g)} g, ${at}` +
            (now.front_pct === null || now.front_pct === undefined
              ? ""
              : `; front ${num(now.front_pct)} %, left ${num(now.left_pct)} %, cross weight (front right + rear left) ${num(now.diagonal_fr_rl_pct)} %, front left + rear right ${num(now.diagonal_fl_rr_pct)} %`),
    );
    times.push(performance.timeOrigin + performance.now() - now.at_ms);
    if (times.length > 600) times.splice(0, times.length - 600);
    window.benchDrawn = (window.benchDrawn ?? 0) + 1;
    if (performance.now() - drawnTrace > 400 && trace[0].length > 1) {
      drawnTrace = performance.now();
      plot ??= makePlot();
      const end = trace[0][trace[0].length - 1];
      plot?.setData([trace[0].map((t) => (t - end) / 1000), ...trace.slice(1)]);
    }
  }

  on("pads", (batch) => {
    newest = batch;
    for (const [at, ...loads] of batch.trace ?? []) {
      trace[0].push(at);
      loads.forEach((g, i) => trace[i + 1].push(g));
    }
    const from = trace[0].findIndex((at) => at > batch.at_ms - SHOWN_MS);
    if (from > 0) for (const row of trace) row.splice(0, from);
    if (!waiting) {
      waiting = true;
      requestAnimationFrame(draw);
    }
  });
  // readings that have stopped must not look alive: whatever the reason, after two seconds they say how old they are
  setInterval(() => {
    const old = newest ? (performance.now() - heard) / 1000 : 0;
    const stale = old > 2;
    byId("live-words").classList.toggle("stale", stale);
    view.layers.loads.classList.toggle("stale", stale);
    if (stale && newest && !newest.missing) show(byId("live-words"), `No reading for ${num(old, 0)} s. The last one: ${num(newest.total_g)} g`);
  }, 500);
  new ResizeObserver(() => plot?.setSize({ width: byId("trace").clientWidth, height: 190 })).observe(byId("trace"));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    plot?.destroy();
    plot = null;
  });
}
