// A push shown again: the clip's pictures beside the car from above, both always at the same picture. Lengths in mm.
import { ask, on } from "./bench.js";
import { byId, num, show } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const make = (tag, attributes = {}) => {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  return node;
};
const at = ([x, y]) => `${(-y).toFixed(2)},${(-x).toFixed(2)}`; // nose up, left is left
const moved = ([x, y, turn], [px, py]) => {
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  return [x + c * px - s * py, y + s * px + c * py];
};

// The car from above in the axes that it had at rest. Returns how to draw it at picture k.
function drawing(box, told) {
  const seen = told.pose.filter(Boolean);
  const all = [[0, 0, 0], ...seen].flatMap((pose) => told.outline.map((point) => moved(pose, point)));
  const [xs, ys] = [0, 1].map((axis) => all.map((point) => point[axis]));
  const [left, top] = [-Math.max(...ys) - 12, -Math.max(...xs) - 12];
  const svg = make("svg", { "aria-hidden": "true", viewBox: [left, top, 12 - Math.min(...ys) - left, 12 - Math.min(...xs) - top].map((v) => v.toFixed(1)).join(" ") });
  const half = Math.max(...told.outline.map(([, y]) => y));
  const start = make("polygon", { class: "start", points: told.outline.map(at).join(" ") });
  const trails = [told.wheelbase, 0].map(() => make("polyline", { class: "trail" }));
  const car = make("g", { class: "now" });
  car.append(make("polygon", { points: told.outline.map(at).join(" ") }));
  for (const [kind, x] of [["forecast", told.forecast], ["balance", told.balance]])
    if (x !== undefined) car.append(make("path", { class: kind, d: `M${at([x, half])}L${at([x, -half])}` }));
  svg.append(start, ...trails, car);
  box.replaceChildren(svg);
  return (k) => {
    const pose = told.pose[k];
    car.setAttribute("visibility", pose ? "visible" : "hidden");
    if (!pose) return;
    car.setAttribute("transform", `translate(${-pose[1]} ${-pose[0]}) rotate(${(-pose[2] * 180) / Math.PI})`);
    const past = told.pose.slice(0, k + 1).filter((one, i) => one && told.time_s[i] >= 0);
    [told.wheelbase, 0].forEach((x, i) => trails[i].setAttribute("points", past.map((one) => at(moved(one, [x, 0]))).join(" ")));
  };
}

export function startReplay() {
  const [figure, canvas, slider, play] = ["replay", "replay-picture", "replay-at", "replay-play"].map(byId);
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  let told = null; // of the push that is shown
  let draw = () => {};
  let packed = []; // pictures as they came
  let record = null;
  let fresh = false; // it was pushed while this page was open
  let inView = false;
  let [wanted, drawn, busy, playing] = [0, -1, false, 0];

  async function bitmap(k, of) {
    if (!packed[k]) {
      const answer = await fetch(`${of.picture}${k}`);
      if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).error ?? "The picture did not come.");
      packed[k] = await answer.blob();
    }
    return createImageBitmap(packed[k]);
  }
  // whichever picture is wanted last: picture, drawing and words change together
  async function to(k) {
    wanted = k;
    if (busy || !told) return;
    busy = true;
    const of = told;
    try {
      while (drawn !== wanted && told === of) {
        const k = wanted;
        const picture = await bitmap(k, of);
        if (told !== of) break;
        if (canvas.width !== picture.width || canvas.height !== picture.height) [canvas.width, canvas.height] = [picture.width, picture.height];
        canvas.getContext("2d").drawImage(picture, 0, 0);
        picture.close();
        draw(k);
        drawn = k;
        slider.value = k;
        const t = told.time_s[k];
        const when = t < 0 ? `${num(-t, 2)} s before it moved` : `${num(t, 2)} s after it began to move`;
        const where = told.pose[k] ? `nose ${num(told.nose_mm[k], 0)} mm, tail ${num(told.tail_mm[k], 0)} mm` : "not measured in this picture";
        show(byId("replay-words"), `${when}: ${where}`);
        slider.setAttribute("aria-valuetext", `${when}: ${where}`);
        figure.dataset.picture = k;
      }
    } catch (error) {
      show(byId("replay-words"), error.message);
    }
    busy = false;
    if (told && told !== of) to(wanted);
  }
  function stop() {
    cancelAnimationFrame(playing);
    playing = 0;
    show(play, "Play");
  }
  function run() {
    const last = told.time_s.length - 1;
    const from = wanted >= last ? 0 : wanted;
    const began = performance.now() - 1000 * (told.time_s[from] - told.time_s[0]);
    show(play, "Pause");
    const step = (now) => {
      const t = told.time_s[0] + (now - began) / 1000;
      let k = from;
      while (k < last && told.time_s[k + 1] <= t) k += 1;
      to(k);
      if (k < last) playing = requestAnimationFrame(step);
      else stop();
    };
    playing = requestAnimationFrame(step);
  }
  async function load() {
    const mine = record;
    try {
      const got = await ask(`/api/replay?record=${mine}`);
      if (mine !== record) return;
      told = got;
      draw = drawing(byId("replay-car"), told);
      slider.max = told.time_s.length - 1;
      slider.disabled = play.disabled = false;
      const end = told.time_s.findLastIndex((t) => t <= told.end_s);
      const moves = fresh && !still.matches;
      await to(moves ? 0 : Math.max(end, 0));
      for (let k = 0; k < told.time_s.length && mine === record; k += 1) (await bitmap(k, told)).close();
      if (moves && mine === record && wanted === 0 && !playing) run();
    } catch (error) {
      if (mine === record) show(byId("replay-words"), error.message);
    }
  }
  // the pictures are made and fetched for whoever looks
  new IntersectionObserver((seen) => {
    inView = seen.at(-1).isIntersecting;
    begin();
  }).observe(figure);
  let begun = null;
  function begin() {
    if (!inView || record === null || begun === record) return;
    begun = record;
    load();
  }
  let heard = false;
  on("car", (car) => {
    const next = car.verdict?.filmed ? car.verdict.record : null;
    figure.hidden = next === null;
    if (next !== record) {
      stop();
      fresh = heard;
      record = next;
      told = null;
      packed = [];
      [wanted, drawn] = [0, -1];
      slider.disabled = play.disabled = true;
      show(byId("replay-words"), "The clip’s pictures are being fetched.");
      begin();
    }
    heard = true;
  });
  slider.addEventListener("input", () => {
    stop();
    to(Number(slider.value));
  });
  play.addEventListener("click", () => (playing ? stop() : run()));
}
