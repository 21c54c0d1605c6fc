// A phone sees the question, a plain car with the arrow of the push, and its own answer; nothing of the bench.
import { CarView } from "./car.js";
import { numberIn, typed } from "./numbers.js";
import { byId, el, show } from "./words.js";

const L = 257, HALF = 95;
const TODO = {
  place: "Touch the car where you think it will turn. The nose is on the right.",
  choose: "Choose one. You may put the ring where you think it will turn, too. The nose is on the right.",
  pick: "Choose one.",
  seen: "Look at the push. Write down what you saw before anybody tells.",
  none: "Look at the screen in front. Nothing is asked at the moment.",
};
const view = new CarView(byId("car"), { pin: true });
const plain = {
  wheelbase: L,
  outline: [[-80, -HALF], [L + 75, -HALF], [L + 75, HALF], [-80, HALF]],
  contacts: [[L, 82], [L, -82], [0, 82], [0, -82]],
  load_g: null, cg: null, push: null, push_side: 1, balance: null, measured: null, forecast: null, swept: [],
};
view.show(plain);
const pct = byId("pin-pct");
let now = null; // what is asked
let drawn = "";
let moved = false;
view.onpin = ([x]) => {
  moved = true;
  pct.value = ((100 * x) / L).toFixed(0);
};
pct.addEventListener("input", () => {
  moved = true;
  if (typed(pct.value) !== null) view.setPin([(typed(pct.value) / 100) * L, view.pin[1]], false);
});
if (/^#\d{6}$/.test(location.hash)) byId("code").value = location.hash.slice(1);

function draw() {
  const seen = now.asked === "seen", chooses = now.choices.length > 0;
  byId("back").hidden = !now.mine;
  show(byId("send"), now.mine ? "Send it again, changed" : seen ? "Send what I saw" : "Send my guess");
  const key = JSON.stringify([now.number, now.asked, now.question, now.choices, now.push_pct, now.push_side]);
  if (key === drawn) return; // who is typing goes on typing
  if (drawn) show(byId("said"), "");
  drawn = key;
  moved = false;
  show(byId("question"), now.question);
  show(byId("todo"), TODO[!now.asked ? "none" : seen ? "seen" : chooses ? (now.place ? "choose" : "pick") : "place"]);
  byId("form").hidden = !now.asked;
  byId("why").hidden = seen;
  byId("place").hidden = seen || !now.place;
  view.layers.pin.toggleAttribute("hidden", !now.asked || seen || !now.place);
  const pushed = now.push_pct !== undefined && now.push_pct !== null;
  view.show({ ...plain, push: pushed ? [(now.push_pct / 100) * L, -now.push_side * HALF] : null, push_side: now.push_side });
  byId("choices").hidden = !chooses;
  byId("choices").replaceChildren(
    el("legend", {}, seen ? "What did you see?" : "Your answer"),
    ...now.choices.map((choice) =>
      el("label", {}, el("input", { type: "radio", name: "choice", value: choice, checked: now.mine?.answer === choice }), choice)),
  );
  byId("reason").value = now.mine?.reason ?? "";
  if (now.mine?.place) view.setPin([(now.mine.place[0] / 100) * L, now.mine.place[1]]);
}

async function look() {
  try {
    const answer = await fetch("/now");
    if (answer.ok) {
      now = await answer.json();
      draw();
    }
  } catch {
    // the screen is closed or out of reach; said when something is sent
  }
}
// news of the question come by themselves, until answering is closed
let source = null;
function listen() {
  source?.close();
  source = new EventSource("/news");
  for (const kind of ["hello", "class"]) source.addEventListener(kind, look);
  source.addEventListener("closed", () => {
    source.close();
    source = null;
    show(byId("said"), "Answering is closed. Load this page again when it is open.");
  });
  source.onerror = () => {
    if (source?.readyState === EventSource.CLOSED) setTimeout(listen, 5000);
  };
}
listen();

async function send(path, body) {
  try {
    const answer = await fetch(path, { method: "POST", body: JSON.stringify(body), headers: { "content-type": "application/json" } });
    const told = await answer.json();
    show(byId("said"), told.said ?? told.error);
  } catch {
    show(byId("said"), "The screen cannot be reached. Ask whether guessing is still open.");
  }
  await look();
}

byId("form").addEventListener("submit", (event) => {
  event.preventDefault();
  const picked = byId("choices").querySelector("input:checked");
  const seen = now?.asked === "seen";
  const body = { code: byId("code").value.trim(), answer: picked?.value ?? "", seen };
  if (now) body.question = now.number;
  try {
    if (!seen) {
      body.reason = byId("reason").value;
      if (moved || !now?.choices.length) Object.assign(body, { station_pct: numberIn(pct), side_mm: Math.round(view.pin[1]) });
    }
  } catch (error) {
    show(byId("said"), error.message);
    return;
  }
  send("/guess", body);
});
byId("back").addEventListener("click", () => send("/take-back", { code: byId("code").value.trim(), question: now.number }));
