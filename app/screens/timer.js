// Counts down to a moment that Python names. The page's title tells it too, for whoever looks at another window.

const seen = new Map();     // Python's "now" -> ours when we first met it: the difference of the two clocks
const running = new WeakMap();
const left = new WeakMap(), shown = new Set();     // of each countdown, ms; and those on the page
let title = null;
const LATELY = 600e3;       // how long an end is news, ms
// The title tells of what has just ended, else of the next to end, else of what ended long ago.
const turn = (ms) => (ms < -LATELY ? Number.MAX_SAFE_INTEGER + ms : ms);

const words = (ms) => {
  const s = Math.ceil(ms / 1000), two = (n) => String(n).padStart(2, "0");
  const minutes = Math.floor(s / 60) % 60, hours = Math.floor(s / 3600);
  return hours ? `${hours}:${two(minutes)}:${two(s % 60)}` : `${minutes}:${two(s % 60)}`;
};

export default function (component) {
  const root = component.parentElement, { ends, now, until, small } = component.data;
  if (!seen.has(now)) seen.set(now, Date.now());
  const offset = seen.get(now) - now;
  const box = root.querySelector(".timer"), face = root.querySelector(".left");
  box.classList.toggle("small", small);
  title ??= document.title;
  const show = () => {
    const ms = ends + offset - Date.now(), over = ms <= 0;
    const text = over ? "Time is up" : words(ms);
    if (face.textContent !== text) face.textContent = text;
    box.classList.toggle("over", over);
    root.querySelector(".until").textContent = over ? until.replace("until", "since") : until;
    left.set(root, ms);
    if ([...shown].every((other) => turn(left.get(other)) >= turn(ms))) document.title = `${text} - ${title}`;
  };
  clearInterval(running.get(root));
  shown.add(root);
  left.set(root, ends + offset - Date.now());
  running.set(root, setInterval(show, 250));
  show();
  return () => { clearInterval(running.get(root)); shown.delete(root); document.title = title; if (!shown.size) title = null; };
}
