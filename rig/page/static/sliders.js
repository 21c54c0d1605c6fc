// Sliders over something that is worked out elsewhere: the newest wish is asked for, never two at a time.
import { tellTrouble } from "./shared.js";
import { byId, el, num, show } from "./words.js";

// list: [name, label, low, high, step, unit].  moved(whole): a slider moves, or was let go (whole).
export class Sliders {
  constructor(box, list, moved, prefix = "slide") {
    this.inputs = {};
    this.outs = {};
    for (const [name, label, low, high, step, unit] of list) {
      const input = el("input", { type: "range", min: low, max: high, step, id: `${prefix}-${name}`, "aria-label": label });
      const out = el("output", { for: `${prefix}-${name}` });
      this.inputs[name] = input;
      this.outs[name] = [out, unit, step < 0.1 ? 2 : step < 1 ? 1 : 0];
      byId(box).append(el("label", {}, el("span", {}, `${label}: `, out), input));
      input.addEventListener("input", () => moved(false));
      input.addEventListener("change", () => moved(true));
    }
  }
  set(values) {
    for (const [name, value] of Object.entries(values)) this.inputs[name].value = value;
    this.write();
  }
  write() {
    for (const [name, [out, unit, digits]] of Object.entries(this.outs)) {
      const said = num(Number(this.inputs[name].value), digits) + unit;
      show(out, said);
      this.inputs[name].setAttribute("aria-valuetext", said);
    }
  }
  values() {
    return Object.fromEntries(Object.entries(this.inputs).map(([name, input]) => [name, Number(input.value)]));
  }
}

// One question at a time, and always the newest one; an answer to what was asked before a reset is not drawn.
export class Newest {
  constructor(kind, ask, draw) {
    Object.assign(this, { kind, ask, draw, wish: null, asking: false, shown: 0 });
  }
  want(wish) {
    this.wish = { wish, at: performance.now(), of: this.shown };
    if (!this.asking) this.next();
  }
  reset() {
    this.wish = null;
    this.shown++;
  }
  async next() {
    const { wish, at, of } = this.wish;
    this.wish = null;
    this.asking = true;
    try {
      const found = await this.ask(wish);
      if (of === this.shown) this.draw(found, at, wish);
      tellTrouble(this.kind, "");
    } catch (error) {
      if (of === this.shown) tellTrouble(this.kind, error.message);
    }
    this.asking = false;
    if (this.wish) this.next();
  }
}
