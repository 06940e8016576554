// Zoom and move a photo by touch, mouse, wheel and keyboard; show a thing and its row together.
// Without this module the photo is still shown whole, with its layers, and the links still lead.

const sheet = document.getElementById("sheet");
const photo = document.getElementById("photo");
const tools = document.getElementById("tools");
const whole = photo.viewBox.baseVal;
const full = { x: 0, y: 0, width: whole.width, height: whole.height };
const view = { ...full };
const MOST = 16;
const pointers = new Map();

function show() {
  view.width = Math.min(full.width, Math.max(full.width / MOST, view.width));
  view.height = (view.width * full.height) / full.width;
  view.x = Math.min(full.width - view.width, Math.max(0, view.x));
  view.y = Math.min(full.height - view.height, Math.max(0, view.y));
  photo.setAttribute("viewBox", `${view.x} ${view.y} ${view.width} ${view.height}`);
}

export function place(event) {
  const point = new DOMPoint(event.clientX, event.clientY);
  return point.matrixTransform(photo.getScreenCTM().inverse());
}

function zoom(factor, at) {
  const middle = at ?? { x: view.x + view.width / 2, y: view.y + view.height / 2 };
  const width = Math.min(full.width, Math.max(full.width / MOST, view.width / factor));
  const share = width / view.width;
  view.x = middle.x - (middle.x - view.x) * share;
  view.y = middle.y - (middle.y - view.y) * share;
  view.width = width;
  show();
}

function move(right, down) {
  view.x += right * view.width;
  view.y += down * view.height;
  show();
}

tools.hidden = false;
tools.addEventListener("click", (event) => {
  const way = event.target.dataset.zoom;
  if (way === "in") zoom(1.6);
  if (way === "out") zoom(1 / 1.6);
  if (way === "all") {
    Object.assign(view, full);
    show();
  }
});

const keys = {
  ArrowLeft: () => move(-0.15, 0),
  ArrowRight: () => move(0.15, 0),
  ArrowUp: () => move(0, -0.15),
  ArrowDown: () => move(0, 0.15),
  "+": () => zoom(1.6),
  "=": () => zoom(1.6),
  "-": () => zoom(1 / 1.6),
  0: () => {
    Object.assign(view, full);
    show();
  },
};
sheet.addEventListener("keydown", (event) => {
  if (keys[event.key] && !event.ctrlKey && !event.metaKey && !event.altKey) {
    keys[event.key]();
    event.preventDefault();
  }
});

sheet.addEventListener(
  "wheel",
  (event) => {
    if (event.deltaY > 0 && view.width >= full.width) return; // the page goes on scrolling
    zoom(event.deltaY < 0 ? 1.2 : 1 / 1.2, place(event));
    event.preventDefault();
  },
  { passive: false },
);

let moved = 0;
sheet.addEventListener("pointerdown", (event) => {
  pointers.set(event.pointerId, { x: event.clientX, y: event.clientY });
  moved = 0;
});
window.addEventListener("pointermove", (event) => {
  const before = pointers.get(event.pointerId);
  if (!before || sheet.dataset.drawing) return;
  const scale = view.width / sheet.clientWidth;
  if (pointers.size === 1) {
    const [right, down] = [event.clientX - before.x, event.clientY - before.y];
    moved += Math.abs(right) + Math.abs(down);
    // Where all of the photo is seen, a finger scrolls the page.
    if (event.pointerType === "touch" && view.width >= full.width) window.scrollBy(0, -down);
    view.x -= right * scale;
    view.y -= down * scale;
    show();
  } else if (pointers.size === 2) {
    const other = [...pointers].find(([id]) => id !== event.pointerId)[1];
    const apart = (one) => Math.hypot(one.x - other.x, one.y - other.y);
    const factor = apart({ x: event.clientX, y: event.clientY }) / Math.max(1, apart(before));
    const middle = { clientX: (event.clientX + other.x) / 2, clientY: (event.clientY + other.y) / 2 };
    moved += 10;
    zoom(factor, place(middle));
  }
  pointers.set(event.pointerId, { x: event.clientX, y: event.clientY });
});
for (const name of ["pointerup", "pointercancel"]) {
  window.addEventListener(name, (event) => pointers.delete(event.pointerId));
}

function pick(key) {
  for (const old of document.querySelectorAll(".picked")) old.classList.remove("picked");
  const mark = document.getElementById(`m-${key}`);
  const row = document.getElementById(`r-${key}`);
  mark?.classList.add("picked");
  row?.classList.add("picked");
  return { mark, row };
}

function bringInto(mark) {
  const box = mark.getBBox();
  const middle = { x: box.x + box.width / 2, y: box.y + box.height / 2 };
  const wanted = Math.max(box.width, box.height) * 8;
  if (view.width > wanted) view.width = Math.max(wanted, full.width / MOST);
  view.height = (view.width * full.height) / full.width;
  view.x = middle.x - view.width / 2;
  view.y = middle.y - view.height / 2;
  show();
}

document.addEventListener("click", (event) => {
  const link = event.target.closest?.('a[href^="#m-"], a[href^="#r-"]');
  if (!link) return;
  event.preventDefault();
  if (moved > 8 && link.closest("#sheet")) return; // the end of a move, not a tap
  const href = link.getAttribute("href");
  const { mark, row } = pick(href.slice(3));
  if (href.startsWith("#m-") && mark) {
    bringInto(mark);
    sheet.scrollIntoView({ block: "nearest" });
  } else if (row) {
    row.closest("details")?.setAttribute("open", "");
    row.scrollIntoView({ block: "nearest" });
  }
});
sheet.addEventListener("dragstart", (event) => event.preventDefault());
