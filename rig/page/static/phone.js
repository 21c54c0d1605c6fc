// A phone sees a plain car of usual shape, nothing of the bench, and can send one thing: a guess.
import { CarView } from "./car.js";
import { numberIn, typed } from "./numbers.js";
import { byId, show } from "./words.js";

const L = 257;
const view = new CarView(byId("car"), { pin: true });
view.show({
  wheelbase: L,
  outline: [[-80, -95], [L + 75, -95], [L + 75, 95], [-80, 95]],
  contacts: [[L, 82], [L, -82], [0, 82], [0, -82]],
  load_g: null, cg: null, push: null, push_side: 1, balance: null, measured: null, forecast: null, swept: [],
});
const pct = byId("pin-pct");
view.onpin = ([x]) => (pct.value = ((100 * x) / L).toFixed(0));
pct.addEventListener("input", () => typed(pct.value) !== null && view.setPin([(typed(pct.value) / 100) * L, view.pin[1]], false));
byId("send").addEventListener("click", async () => {
  let body;
  try {
    body = JSON.stringify({ code: byId("code").value.trim(), station_pct: numberIn(pct), side_mm: Math.round(view.pin[1]) });
  } catch (error) {
    show(byId("said"), error.message);
    return;
  }
  try {
    const answer = await fetch("/guess", { method: "POST", body, headers: { "content-type": "application/json" } });
    const told = await answer.json();
    show(byId("said"), told.said ?? told.error);
  } catch {
    show(byId("said"), "The screen cannot be reached. Ask whether guessing is still open.");
  }
});
