// Corner weights from afar: every number and every word comes from the bench; here they are only made large.
import { act, connect, on, state } from "./bench.js";
import { numberIn } from "./numbers.js";
import { wayIn } from "./qr.js";
import { startShared, tap } from "./shared.js";
import { byId, el, num, show, told } from "./words.js";

const STALE_S = 2;
const plus = (value, digits) => (value > 0 ? "+" : "") + num(value, digits);
const moved = (pair, digits) => (pair ? `${plus(pair[0], digits)} ± ${num(pair[1], digits)}` : "–");
const heavier = (over) => (over > 0 ? "too much" : "too little");

let heard = 0;
let newest = null;
function live() {
  const now = newest;
  const known = now?.load_g?.every((g) => g !== null);
  for (let wheel = 0; wheel < 4; wheel++) show(byId(`live${wheel}`), known ? num(now.load_g[wheel], 0) : "–");
  byId("corners").classList.toggle("long", Boolean(known && now.load_g.some((g) => Math.abs(g) >= 999.5)));
  show(byId("now-front"), num(now?.front_pct));
  show(byId("now-left"), num(now?.left_pct));
  show(byId("now-cross"), num(now?.diagonal_fr_rl_pct));
  show(byId("now-total"), known ? num(now.total_g, 0) : "–");
  const over = now?.cross_over_g;
  show(byId("over"), over === null || over === undefined ? "–" : `${num(Math.abs(over), 0)} g ${heavier(over)} on front right + rear left`);
}
function light() {
  const old = newest ? (performance.now() - heard) / 1000 : 0;
  const stale = old > STALE_S;
  document.body.classList.toggle("stale", stale);
  const faults = (newest?.faults ?? []).filter(Boolean);
  const rest = newest && !stale && !newest.missing && !faults.length && newest.settled;
  byId("light").className = rest ? "rest" : "moving";
  show(
    byId("light-words"),
    !newest ? "No reading yet" : stale ? `No reading for ${num(old, 0)} s` : newest.missing || faults.join("; ") || (rest ? "At rest" : "Moving: wait"),
  );
}
let waiting = false;
on("pads", (batch) => {
  newest = batch;
  heard = performance.now();
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    live();
    light();
  });
});
setInterval(light, 500);

on("car", (car) => {
  if (!car.name) return;
  show(byId("carname"), car.name);
  const w = car.weights, r = car.racer ?? {}, before = r.before;
  for (let wheel = 0; wheel < 4; wheel++) {
    const range = w?.corner_interval_g?.[wheel];
    const weighed = w ? `${num(w.corner_weights_g[wheel])} ± ${num((range[1] - range[0]) / 2)}` : "";
    show(byId(`last${wheel}`), [weighed, before ? `(${moved(before.corner_g[wheel], 1)})` : ""].filter(Boolean).join(" "));
  }
  show(byId("weighed-front"), w ? told(w.front_pct, 1) : "–");
  show(byId("weighed-left"), w ? told(w.left_pct, 1) : "–");
  show(byId("weighed-cross"), w ? told(w.diagonal_fr_rl_pct, 1) : "–");
  show(byId("weighed-total"), w ? told(w.total_g, 1) : "–");
  show(byId("moved-front"), moved(before?.front_pct, 1));
  show(byId("moved-left"), moved(before?.left_pct, 1));
  show(byId("moved-cross"), moved(before?.cross_pct, 1));
  show(byId("moved-total"), moved(before?.total_g, 1));
  show(byId("target"), num(r.target_pct, 1));
  if (document.activeElement !== byId("wanted")) byId("wanted").value = String(r.target_pct ?? 50);
  show(byId("weighed-over"), r.over_g === undefined ? "" : Math.abs(r.over_g) < 0.05 ? `As weighed: on the target, ± ${num(r.over_half_g)} g.` : `As weighed: ${num(Math.abs(r.over_g))} ± ${num(r.over_half_g)} g ${heavier(r.over_g)}.`);
  show(byId("advice"), r.advice ?? r.trouble ?? "");
  show(
    byId("before-words"),
    before
      ? `Against record ${before.record} of the log${before.changed ? `; on the car card since: ${before.changed}` : ""}. The ± is at most that: what both weighings share cancels.`
      : w ? "This car was weighed once: nothing to compare with yet." : "",
  );
  byId("weigh-notes").replaceChildren(...(w?.warnings ?? []).map((text) => el("li", {}, text)));
  byId("place").hidden = !car.virtual;
});

startShared();
let placed = false;
tap("place", async () => {
  await act("place", { on: !placed });
  placed = !placed;
  show(byId("place"), placed ? "Take the car off the pads" : "Set the car on the pads");
});
tap("zero", () => act("zero"));
tap("weigh-now", () => act("weigh", { placings: numberIn(byId("placings")), hands_free: byId("hands-free").checked }));
tap("wanted-set", () => act("cross-target", { share_pct: numberIn(byId("wanted")) }));
tap("far", () => act("racer-phones", { on: !state.far?.code }));
on("far", (far) => {
  byId("far").setAttribute("aria-pressed", far.code ? "true" : "false");
  show(byId("far"), far.code ? "No longer" : "Show the weights there, too");
  byId("far-told").replaceChildren(...(far.code ? wayIn(far) : []));
});

// On a phone or tablet this page is the whole of a server that shows it and takes nothing.
if (location.pathname === "/racer") connect();
else {
  for (const id of ["do", "elsewhere", "to-bench"]) byId(id).hidden = true;
  const code = byId("code");
  const enter = async () => {
    const answer = await fetch(`/allowed?code=${encodeURIComponent(code.value.trim())}`).catch(() => null);
    const told = answer ? await answer.json().catch(() => ({})) : { error: "The bench does not answer." };
    byId("enter").hidden = Boolean(answer?.ok);
    show(byId("enter-said"), told.error ?? "");
    if (answer?.ok) connect(`/news?code=${encodeURIComponent(code.value.trim())}`);
  };
  byId("enter").hidden = false;
  byId("enter").addEventListener("submit", (event) => {
    event.preventDefault();
    enter();
  });
  if (/^#\d{6}$/.test(location.hash)) {
    code.value = location.hash.slice(1);
    enter();
  }
}
