// The camera's picture with the push on it, and what is said of it: both come together and go together.
import { on } from "./bench.js";
import { byId, show } from "./words.js";

const OLD_MS = 1000;
const IDLE_MS = 80; // where nobody pushes

// One picture after the other, each asked for when the one before is drawn: a stream in every window would hold one of
// the six connections that a browser opens to a host, and leave none for Stop.
export function startLivePush() {
  const canvas = byId("camera-picture");
  const times = (window.benchLive = []); // ms from the picture's arrival to its drawing while a push is looked at
  let watching = false;
  let drawn = 0;
  let loud = ""; // the state that was said last
  let newest = -1; // number of the picture that was drawn last, of those of a push

  function say(live) {
    const words = !live ? "" : live.balance ? `${live.words}: ${live.balance}` : live.words;
    const box = byId("live-push");
    // a figure that changes thirty times a second is not read out each time
    box.setAttribute("aria-live", live && live.state === loud ? "off" : "polite");
    loud = live?.state ?? "";
    show(box, words);
    box.dataset.state = loud;
  }
  async function next() {
    if (!watching) return;
    let pause = 500;
    if (!document.hidden)
      try {
        // while somebody pushes, the bench waits a moment for the next picture and sends it as soon as it is drawn on
        const answer = await fetch(newest < 0 ? "/camera.jpg" : `/camera.jpg?after=${newest}`);
        if (!answer.ok) throw new Error("nothing is filmed");
        const told = JSON.parse(answer.headers.get("x-picture"));
        const again = told.number >= 0 && told.number === newest;
        if (again) {
          await answer.arrayBuffer();
          setTimeout(next, 5);
          return;
        }
        newest = told.number;
        const picture = await createImageBitmap(await answer.blob());
        if (!watching) return picture.close();
        if (canvas.width !== picture.width || canvas.height !== picture.height) [canvas.width, canvas.height] = [picture.width, picture.height];
        canvas.getContext("2d").drawImage(picture, 0, 0);
        picture.close();
        const age = performance.timeOrigin + performance.now() - told.at_ms;
        say(age > OLD_MS ? null : told.live);
        canvas.classList.toggle("stale", age > OLD_MS);
        drawn = performance.now();
        if (told.live) {
          requestAnimationFrame(() => times.push(performance.timeOrigin + performance.now() - told.at_ms));
          if (times.length > 2000) times.splice(0, times.length - 2000);
        }
        pause = told.live ? 0 : IDLE_MS;
      } catch {
        // the next one may come
      }
    setTimeout(next, pause);
  }
  // whatever holds the pictures up: what was said of an old one is taken back
  setInterval(() => {
    if (!watching || performance.now() - drawn <= OLD_MS) return;
    say(null);
    canvas.classList.add("stale");
  }, 250);
  on("camera", (camera) => {
    byId("camera").hidden = !camera.on;
    if (camera.on === watching) return;
    watching = camera.on;
    newest = -1;
    say(null);
    if (watching) next();
    else canvas.width = canvas.height = 0;
  });
}
