// The one stream from the bench, and the one way to change something. It connects again by itself.
const handlers = new Map();
let token = "";
let start = "";
let source;
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

const KINDS = ["port", "job", "car", "first", "class", "hidden", "camera", "pads", "beat"];
export function connect() {
  source?.close();
  source = new EventSource("/events");
  source.addEventListener("hello", (event) => {
    const hello = JSON.parse(event.data);
    const restarted = start && start !== hello.start;
    token = hello.token;
    start = hello.start;
    lastNews = performance.now();
    spread("link", { on: true, restarted, software: hello.software });
  });
  for (const kind of KINDS)
    source.addEventListener(kind, (event) => {
      lastNews = performance.now();
      spread(kind, JSON.parse(event.data));
    });
  source.onerror = () => {
    spread("link", { on: false });
    // a browser gives up on some answers; then we open anew
    if (source.readyState === EventSource.CLOSED) setTimeout(connect, 1000);
  };
}
setInterval(() => {
  if (state.link?.on && performance.now() - lastNews > 16000) {
    spread("link", { on: false });
    connect();
  }
}, 2000);

// do("zero"), do("guess", {…}): answers what the bench said, or throws an Error in words.
export async function act(name, details = {}) {
  return send(`/api/do/${name}`, JSON.stringify(details), "application/json");
}
export async function send(path, body, type) {
  let answer;
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
