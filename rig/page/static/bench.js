// The one stream from the bench, and the one way to change something. It connects again by itself.
const handlers = new Map();
let token = "";
let start = "";
let news = "/events";
let source; // only in the window that holds the stream
let lastNews = performance.now();
export const state = {};

export const on = (kind, handler) => {
  if (!handlers.has(kind)) handlers.set(kind, []);
  handlers.get(kind).push(handler);
  if (kind in state) handler(state[kind]);
};
const spread = (kind, content) => {
  state[kind] = content;
  for (const handler of handlers.get(kind) ?? []) handler(content);
};

const KINDS = ["port", "job", "car", "first", "class", "hidden", "camera", "change", "far", "pads", "beat"];
export const age = () => performance.now() - lastNews;

// One window of a browser holds the stream and hands it to the others: a browser opens six connections to a host at
// the most, and a stream in every window would leave none for the buttons.
const others = navigator.locks && "BroadcastChannel" in window ? new BroadcastChannel("bench") : null;
let hello = null;
let holds = false;

function take(kind, content) {
  lastNews = performance.now();
  if (kind === "hello") {
    hello = content;
    const restarted = start && start !== content.start;
    token = content.token;
    start = content.start;
    spread("link", { on: true, restarted, software: content.software });
  } else spread(kind, content);
}
function lost() {
  if (state.link?.on !== false) spread("link", { on: false });
  if (holds) others?.postMessage({ kind: "lost" });
}
function open() {
  source?.close();
  source = new EventSource(news);
  for (const kind of ["hello", ...KINDS])
    source.addEventListener(kind, (event) => {
      const content = JSON.parse(event.data);
      others?.postMessage({ kind, content });
      take(kind, content);
    });
  source.onerror = () => {
    lost();
    // a browser gives up on some answers; then we open anew
    if (source.readyState === EventSource.CLOSED) setTimeout(open, 1000);
  };
}
export function connect(from = "/events") {
  news = from;
  if (!others) {
    holds = true;
    open();
    return;
  }
  others.onmessage = ({ data: { kind, content } }) => {
    if (kind === "ask") {
      if (!holds || !hello) return;
      others.postMessage({ kind: "hello", content: hello });
      for (const one of KINDS) if (one in state) others.postMessage({ kind: one, content: state[one] });
    } else if (kind === "lost") lost();
    else take(kind, content);
  };
  // held until this window closes; then the next one that waits opens the stream
  navigator.locks.request("bench-stream", () => {
    holds = true;
    open();
    return new Promise(() => {});
  });
  others.postMessage({ kind: "ask" });
}
setInterval(() => {
  if (state.link?.on && age() > 16000) {
    lost();
    if (holds) open();
    else others?.postMessage({ kind: "ask" });
  }
}, 2000);

// A window just opened may be clicked before the stream has told it the token.
const LONGEST_GREETING_MS = 10000;
const greeted = new Promise((done) => on("link", (link) => link.on && done()));

// do("zero"), do("guess", {…}): answers what the bench said, or throws an Error in words.
export async function act(name, details = {}) {
  return send(`/api/do/${name}`, JSON.stringify(details), "application/json");
}
export async function send(path, body, type) {
  let answer;
  if (!token) await Promise.race([greeted, new Promise((done) => setTimeout(done, LONGEST_GREETING_MS))]);
  try {
    answer = await fetch(path, { method: "POST", body, headers: { "content-type": type, "x-bench-token": token } });
  } catch {
    throw new Error("The bench does not answer. It is tried again by itself; nothing recorded is lost.");
  }
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(told.error ?? "That did not work. Try again.");
  return told;
}
export async function ask(path) {
  const answer = await fetch(path);
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(told.error ?? "That did not work. Try again.");
  return told;
}
