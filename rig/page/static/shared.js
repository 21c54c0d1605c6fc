// What both big screens have: the state of the link, trouble in words, the running job.
import { act, on } from "./bench.js";
import { typed } from "./numbers.js";
import { byId, el, show } from "./words.js";

const trouble = new Map();
export function tellTrouble(kind, text) {
  if (text) trouble.set(kind, text);
  else trouble.delete(kind);
  const box = byId("trouble");
  const said = [...trouble.values()].join("\n");
  show(box, said);
  box.hidden = said === "";
}

// Runs an action from a button; what goes wrong is said in words.
export const tap = (id, what) =>
  byId(id)?.addEventListener("click", async () => {
    try {
      tellTrouble("act", "");
      await what();
    } catch (error) {
      tellTrouble("act", error.message);
    }
  });

// What runs, on every screen alike: what it does, what it asks for, and Stop.
function jobBox() {
  const button = (id, said, kind = "") => el("button", { id, type: "button", class: kind || null, hidden: true }, said);
  document.body.append(
    el("aside", { id: "job", "aria-live": "polite", "aria-label": "What is running", hidden: true },
      el("p", { id: "job-text" }),
      el("progress", { id: "job-bar", max: "1", value: "0", "aria-label": "Progress" }),
      button("job-done", "Done", "main"), button("job-stop", "Stop"), button("job-close", "Close")),
  );
}

// keeps: the class must not read the answer in the job's last words before the reveal
export function startShared({ keeps = false } = {}) {
  jobBox();
  on("link", (link) => {
    show(byId("link"), link.on ? (link.restarted ? "Connected again: the bench was restarted" : "Connected") : "Connection lost, trying again …");
    tellTrouble("link", link.on ? "" : "The bench does not answer. This page connects again by itself; nothing recorded is lost.");
  });
  on("port", (port) => {
    const fine = ["reading", "starting", "no pads"].includes(port.state);
    const remedy = port.remedy ? ` ${port.remedy}.` : "";
    tellTrouble("port", fine ? "" : `Pads: ${port.sentence}.${remedy}`);
    tellTrouble("recording", port.trouble ? `Raw readings are no longer kept: ${port.trouble}` : "");
  });
  on("car", (car) => tellTrouble("car", car.trouble ?? ""));
  let seen = null;
  let step = "";
  let starter = null; // where the keyboard was when a step was asked: it goes back there
  const free = () => !document.activeElement || document.activeElement === document.body || document.activeElement.tagName === "BUTTON";
  on("job", (job) => {
    const box = byId("job");
    const fresh = seen !== null || job.running;
    seen = job.number;
    const answer = keeps && ["push", "film", "measure", "judge"].includes(job.name) ? "Pushed and measured. Ready to reveal." : job.text;
    const text = job.running ? job.step || job.text || job.name : job.error || answer || "";
    box.hidden = !job.running && (!fresh || text === "");
    box.classList.toggle("bad", !job.running && Boolean(job.error));
    show(byId("job-text"), text);
    const bar = byId("job-bar");
    bar.hidden = !job.running || Boolean(job.step);
    if (job.share > 0) bar.value = job.share;
    else bar.removeAttribute("value");
    byId("job-done").hidden = !job.running || !job.step;
    byId("job-stop").hidden = !job.running;
    byId("job-close").hidden = job.running;
    // the next thing to press is under the keyboard, unless somebody types
    const asked = job.running ? job.step ?? "" : "";
    if (asked && asked !== step && free()) {
      if (!box.contains(document.activeElement) && document.activeElement !== document.body) starter = document.activeElement;
      byId("job-done").focus();
    }
    if (!job.running && starter) {
      if (free()) starter.focus();
      starter = null;
    }
    step = asked;
  });
  tap("job-done", () => act("done"));
  tap("job-stop", () => act("stop"));
  byId("job-close")?.addEventListener("click", () => (byId("job").hidden = true));
}

// A picture with letters in it is never shown so small that they cannot be read; its box scrolls then.
// letters: px of the smallest ones in the picture itself.
const SMALLEST_PX = 11.5;
export const keepLegible = (img, letters) =>
  img.addEventListener("load", () => (img.style.minWidth = `${Math.ceil((img.naturalWidth * SMALLEST_PX) / letters)}px`));

// Two number boxes that go with the pin.
export function tiePin(view, pct, side) {
  view.onpin = ([x, y], L) => {
    pct.value = ((100 * x) / L).toFixed(0);
    side.value = y.toFixed(0);
  };
  const from = () => {
    const [along, left] = [typed(pct.value), typed(side.value)];
    if (view.picture && along !== null && left !== null) view.setPin([(along / 100) * view.picture.wheelbase, left], false);
  };
  pct.addEventListener("input", from);
  side.addEventListener("input", from);
}
