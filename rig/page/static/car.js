// The car from above, to scale, nose to the right. Only drawing: every number comes from the bench. Units: mm.
const SVG = "http://www.w3.org/2000/svg";
const make = (tag, attributes = {}, text) => {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  if (text !== undefined) node.textContent = text;
  return node;
};
const points = (list) => list.map(([x, y]) => `${x.toFixed(2)},${(-y).toFixed(2)}`).join(" ");
const BIGGEST_DISC = 34; // mm radius of the heaviest wheel's disc: area carries the load

// A ring with cross hairs that reach over it; its middle stays open, so that one sees what it stands on.
const ringPath = (x, y, radius, over) =>
  `M${x - radius} ${y}a${radius} ${radius} 0 1 0 ${2 * radius} 0a${radius} ${radius} 0 1 0 ${-2 * radius} 0` +
  `M${x - radius - over} ${y}H${x - radius / 3}M${x + radius / 3} ${y}H${x + radius + over}` +
  `M${x} ${y - radius - over}V${y - radius / 3}M${x} ${y + radius / 3}V${y + radius + over}`;

export class CarView {
  // box: element to draw in.  pin: whether a ring can be dragged to a place.
  constructor(box, { pin = false, onpin = () => {} } = {}) {
    this.svg = make("svg", { class: "car", role: "img", "aria-label": "The car from above" });
    this.layers = {};
    for (const name of ["scale", "swept", "body", "beams", "loads", "guesses", "forecast", "measured", "tried", "push", "pin"]) {
      this.layers[name] = make("g", { class: name });
      this.svg.append(this.layers[name]);
    }
    box.append(this.svg);
    this.hasPin = pin;
    this.onpin = onpin;
    this.pin = null;
    this.held = ""; // who draws: news of the bench and live loads do not draw over a “what if”
    new ResizeObserver(() => this.fit()).observe(this.svg);
    if (pin) this.listen();
  }

  fit() {
    if (!this.view) return;
    const type = Math.max(15, 0.85 * parseFloat(getComputedStyle(this.svg.parentElement).fontSize));
    // letters keep their size on a small screen: the figures below the scale then need more of the drawing
    const letters = (type * this.view[2]) / (this.svg.clientWidth || this.view[2]);
    const [x, y, wide, high] = this.view;
    const box = [x, y, wide, high + Math.max(0, 1.2 * letters - 24)];
    this.svg.setAttribute("viewBox", box.map((v) => v.toFixed(1)).join(" "));
    for (const text of this.layers.scale.querySelectorAll("text")) text.setAttribute("y", (this.scaleAt + Math.max(30, 12 + 0.9 * letters)).toFixed(1));
    const scale = Math.min(this.svg.clientWidth / box[2], this.svg.clientHeight / box[3]) || 1;
    this.unit = 1 / scale;
    this.svg.setAttribute("font-size", (type / scale).toFixed(2));
  }

  show(picture) {
    this.picture = picture;
    const L = picture.wheelbase;
    const ys = picture.outline.map((p) => p[1]);
    const half = Math.max(...ys) + 74;
    const xs = [-0.95 * L, 1.55 * L];
    const room = 44; // for the outline that swings away from the finger
    const up = picture.push_side > 0 ? room : 24;
    this.view = [xs[0], -half - up, xs[1] - xs[0], 2 * half + up + (picture.push_side > 0 ? 40 : 40 + room)];
    this.drawScale(L, half);
    this.fit();
    this.layers.body.replaceChildren(
      make("polygon", { points: points(picture.outline), class: "outline" }),
      make("path", { d: `M${picture.outline[1][0] - 16} -12l14 12-14 12`, class: "nose" }),
    );
    this.drawLoads(picture.load_g, picture.cg);
    this.drawBalance(picture);
    this.drawMark("forecast", picture.forecast);
    this.drawMark("measured", picture.measured);
    this.drawPush(picture);
    this.drawSwept(picture.swept.map((pose) => pose));
    if (this.hasPin && this.pin === null) this.setPin([0.5 * L, 0], false);
    else this.drawPin();
  }

  drawScale(L, half) {
    const y = (this.scaleAt = half + 4);
    const parts = [make("path", { d: `M${-0.8 * L} ${y}H${1.4 * L}`, class: "line" })];
    for (let pct = -80; pct <= 140; pct += 10)
      parts.push(make("path", { d: `M${(pct / 100) * L} ${y}v${pct % 50 === 0 ? 12 : 6}`, class: "line" }));
    for (const pct of [-50, 0, 50, 100])
      parts.push(make("text", { x: (pct / 100) * L, y: y + 30, "text-anchor": "middle" }, `${pct} %`.replace("-", "−")));
    this.layers.scale.replaceChildren(...parts);
  }

  drawLoads(load, cg) {
    const at = this.picture.contacts;
    const parts = [];
    const beams = [];
    if (load && load.every((g) => g !== null)) {
      const most = Math.max(...load, 1e-9);
      at.forEach(([x, y], wheel) => {
        const radius = BIGGEST_DISC * Math.sqrt(Math.max(load[wheel], 0) / most);
        parts.push(make("circle", { cx: x, cy: -y, r: radius.toFixed(2), class: "load" }));
        const side = Math.sign(y);
        // beside the arrow of the push, not on it
        const push = this.picture.push && this.picture.push_side === -side && Math.abs(this.picture.push[0] - x) < 80 ? this.picture.push[0] : null;
        const [at, anchor] = push === null ? [x, "middle"] : push <= x ? [Math.max(push + 10, x - 24), "start"] : [Math.min(push - 10, x + 24), "end"];
        parts.push(
          make("text", { x: at, y: -y - side * (BIGGEST_DISC + 12) + (side > 0 ? 0 : 10), "text-anchor": anchor, class: "grams" },
            `${load[wheel].toFixed(0)} g`),
        );
      });
      for (const [left, right] of [[0, 1], [2, 3]]) {
        const sum = load[left] + load[right];
        if (sum <= 1) continue;
        const share = load[left] / sum;
        const x = at[left][0];
        const bead = at[right][1] + share * (at[left][1] - at[right][1]);
        const middle = (at[left][1] + at[right][1]) / 2;
        beams.push(
          make("path", { d: `M${x} ${-at[left][1]}V${-at[right][1]}`, class: "beam" }),
          make("path", { d: `M${x - 9} ${-middle}h18`, class: "beam" }),
          make("circle", { cx: x, cy: -bead, r: 6, class: "bead" }),
        );
      }
    } else {
      at.forEach(([x, y]) => parts.push(make("rect", { x: x - 24, y: -y - 9, width: 48, height: 18, rx: 4, class: "wheel" })));
    }
    if (cg) {
      parts.push(
        make("circle", { cx: cg[0], cy: -cg[1], r: 8, class: "cg" }),
        make("path", { d: `M${cg[0] - 12} ${-cg[1]}h24M${cg[0]} ${-cg[1] - 12}v24`, class: "cgline" }),
      );
    }
    this.layers.loads.replaceChildren(...parts);
    this.layers.beams.replaceChildren(...beams);
  }

  drawBalance(picture) {
    if (picture.balance === null || picture.balance === undefined) return;
    const half = Math.max(...picture.outline.map((p) => p[1]));
    this.layers.beams.append(
      make("path", { d: `M${picture.balance} ${-half}V${half}`, class: "balance" }),
    );
  }

  drawMark(kind, mark) {
    const layer = this.layers[kind];
    layer.replaceChildren();
    if (!mark) return;
    const L = this.picture.wheelbase;
    const [x, y] = mark.place;
    const left = -0.85 * L, right = 1.45 * L;
    if (x < left || x > right || Math.abs(y) > 0.75 * L) {
      const end = Math.min(Math.max(x, left), right);
      const s = x < left ? 1 : -1;
      const off = kind === "forecast" ? 14 : -14;
      layer.append(make("path", { d: `M${end + s * 60} ${off}H${end}m${s * 14} -9l${-s * 14} 9 ${s * 14} 9`, class: "far" }));
      return;
    }
    if (mark.region && mark.region.length) layer.append(make("polygon", { points: points(mark.region), class: "region" }));
    layer.append(
      kind === "forecast"
        ? make("path", { d: `M${x} ${-y - 8}l8 8-8 8-8-8z`, class: "mark" })
        : kind === "tried"
          ? make("path", { d: `M${x - 7} ${-y - 7}h14v14h-14z`, class: "mark" })
          : make("circle", { cx: x, cy: -y, r: 6, class: "mark" }),
    );
  }

  drawPush(picture) {
    if (!picture.push) return this.layers.push.replaceChildren();
    const [x, y] = picture.push;
    const s = picture.push_side;
    const tail = -(y - s * 68);
    this.layers.push.replaceChildren(
      make("path", { d: `M${x} ${tail}V${-y}m-8 ${s * 14}l8 ${-s * 14} 8 ${s * 14}`, class: "arrow" }),
      make("text", { x: x - 12, y: tail + (s > 0 ? 0 : 10), "text-anchor": "end" }, "push"),
    );
  }

  outlineAt([x, y, turn], extra) {
    const c = Math.cos(turn), s = Math.sin(turn);
    return make("polygon", {
      points: points(this.picture.outline.map(([px, py]) => [x + c * px - s * py, y + s * px + c * py])),
      ...extra,
    });
  }

  drawSwept(poses) {
    this.layers.swept.replaceChildren(...poses.map((pose) => this.outlineAt(pose, { class: "ghost" })));
  }

  // The outline swings through all poses, in between them too; ends at once for people who want no motion.
  // Every `every`th pose stays as a ghost.
  // kind: "tried" for a push that was not one of this bench's car.
  swing(poses, done = () => {}, every = 12, kind = "") {
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    const begin = performance.now();
    const step = (now) => {
      const share = still ? 1 : Math.min(1, Math.max(0, now - begin) / 1800);
      const at = share * (poses.length - 1);
      const last = Math.floor(at), next = Math.min(last + 1, poses.length - 1);
      const kept = poses.filter((_, index) => index <= last && index % every === 0);
      const pose = poses[last].map((one, axis) => one + (at - last) * (poses[next][axis] - one));
      this.layers.swept.replaceChildren(
        ...kept.map((one) => this.outlineAt(one, { class: `ghost ${kind}` })),
        this.outlineAt(pose, { class: `mover ${kind}` }),
      );
      if (share < 1) requestAnimationFrame(step);
      else done();
    };
    requestAnimationFrame(step);
  }

  // Everybody's places: small rings with cross hairs, under the answer so that they never cover it.
  guesses(list) {
    const L = this.picture.wheelbase;
    this.layers.guesses.replaceChildren(
      ...list.map(([pct, y]) => {
        const x = Math.min(Math.max((pct / 100) * L, -0.85 * L), 1.45 * L);
        return make("path", { d: ringPath(x, -y, 6, 3), class: "guess" });
      }),
    );
  }

  setPin(place, tell = true) {
    const L = this.picture ? this.picture.wheelbase : 257;
    this.pin = [Math.min(Math.max(place[0], -0.9 * L), 1.5 * L), Math.min(Math.max(place[1], -0.7 * L), 0.7 * L)];
    this.drawPin();
    if (tell) this.onpin(this.pin, L);
  }

  drawPin() {
    if (!this.hasPin || !this.pin || !this.picture) return;
    const [x, y] = this.pin;
    this.layers.pin.replaceChildren(
      make("circle", { cx: x, cy: -y, r: Math.max(24, 24 * (this.unit ?? 1)).toFixed(1), class: "ringgrip" }),
      make("path", { d: ringPath(x, -y, 13, 8), class: "ringhalo" }),
      make("path", { d: ringPath(x, -y, 13, 8), class: "ring" }),
    );
  }

  listen() {
    const to = (event) => {
      const m = this.svg.getScreenCTM();
      if (!m) return null;
      const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(m.inverse());
      return [p.x, -p.y];
    };
    // A finger that scrolls past the car must not take the ring along: off the ring, only a tap sets it.
    let dragging = false;
    let tapped = null;
    this.svg.addEventListener("pointerdown", (event) => {
      const place = to(event);
      if (!place || !this.picture) return;
      if (event.pointerType === "touch" && !event.target.closest(".pin")) {
        tapped = [event.clientX, event.clientY];
        return;
      }
      dragging = true;
      this.svg.setPointerCapture(event.pointerId);
      this.setPin(place);
    });
    this.svg.addEventListener("pointermove", (event) => dragging && this.setPin(to(event)));
    this.svg.addEventListener("pointerup", (event) => {
      dragging = false;
      if (tapped && Math.hypot(event.clientX - tapped[0], event.clientY - tapped[1]) < 10) this.setPin(to(event));
      tapped = null;
    });
    this.svg.addEventListener("pointercancel", () => (dragging = tapped = null));
    this.svg.setAttribute("tabindex", "0");
    this.svg.setAttribute("role", "application");
    this.svg.setAttribute("aria-label", "The car from above with a ring; arrow keys move the ring");
    this.svg.addEventListener("keydown", (event) => {
      const step = event.shiftKey ? 20 : 4;
      const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[event.key];
      if (!by || !this.pin) return;
      event.preventDefault();
      this.setPin([this.pin[0] + by[0], this.pin[1] + by[1]]);
    });
  }
}
