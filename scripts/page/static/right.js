// Put right by a tap, or by strokes, on the photo itself. The form is sent as any other; the page
// that comes back says what holds now, with a way to undo it.

import { place } from "./photo.js";

const sheet = document.getElementById("sheet");
const photo = document.getElementById("photo");
const form = document.getElementById("by-hand");
const done = document.getElementById("by-hand-done");
const leave = document.getElementById("by-hand-leave");
const says = document.getElementById("by-hand-says");
const SVG = photo.namespaceURI;
const words = {
  lesion: "Tap the middle of the lesion that was missed.",
  dropping: "Tap the dropping that was missed.",
  caterpillar: "Tap the middle of the caterpillar that was missed.",
  not_leaf: "Tap what is no leaf.",
  outline: "Draw round the leaf, in one stroke or several, or tap its corners; then press Done.",
};
const keyHelp = " With the keyboard: arrows move the cross, Enter sets it.";
let tool = "";
let points = [];
let lines = [];
let cross = null;
form.hidden = false;

function line(name) {
  const made = document.createElementNS(SVG, "polyline");
  made.setAttribute("class", name);
  photo.append(made);
  return made;
}

function draw() {
  const closed = tool === "outline" && points.length > 2 ? [...points, points[0]] : points;
  const text = closed.map((point) => `${point.x},${point.y}`).join(" ");
  for (const one of lines) one.setAttribute("points", text);
  done.hidden = tool !== "outline" || points.length < 3;
}

function begin(name) {
  end();
  tool = name;
  sheet.dataset.drawing = name;
  lines = [line("drawn under"), line("drawn")];
  says.textContent = words[name] + keyHelp;
  leave.hidden = false;
  for (const button of form.querySelectorAll("[data-tool]")) {
    button.setAttribute("aria-pressed", String(button.dataset.tool === name));
  }
  sheet.focus();
}

function end() {
  tool = "";
  points = [];
  for (const one of lines) one.remove();
  lines = [];
  cross?.remove();
  cross = null;
  delete sheet.dataset.drawing;
  says.textContent = "";
  done.hidden = leave.hidden = true;
  for (const button of form.querySelectorAll("[data-tool]")) button.setAttribute("aria-pressed", "false");
}

function fill() {
  const few = Math.max(1, Math.ceil(points.length / 300)); // a finger's stroke has thousands
  const kept = points.filter((_, index) => index % few === 0);
  form.what.value = tool;
  form.marks.value = kept.map((point) => `${point.y.toFixed(1)},${point.x.toFixed(1)}`).join(";");
}

function set(point) {
  points.push(point);
  draw();
  if (tool !== "outline") form.requestSubmit();
}

form.addEventListener("click", (event) => {
  const name = event.target.dataset.tool;
  if (name) begin(name);
});
leave.addEventListener("click", end);
form.addEventListener("submit", fill);

let stroke = false;
sheet.addEventListener(
  "pointerdown",
  (event) => {
    if (!tool) return;
    event.preventDefault();
    stroke = tool === "outline";
    if (stroke) set(place(event));
  },
  true,
);
sheet.addEventListener("pointermove", (event) => {
  if (!tool || !stroke || !event.buttons) return;
  const point = place(event);
  const last = points.at(-1);
  if (!last || Math.hypot(point.x - last.x, point.y - last.y) > photo.viewBox.baseVal.width / 250) {
    points.push(point);
    draw();
  }
});
window.addEventListener("pointerup", () => {
  stroke = false;
});
sheet.addEventListener(
  "click",
  (event) => {
    if (!tool) return;
    event.preventDefault();
    event.stopPropagation();
    if (tool !== "outline" && event.detail) set(place(event));
  },
  true,
);

const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
sheet.addEventListener(
  "keydown",
  (event) => {
    if (!tool) return;
    const box = photo.viewBox.baseVal;
    if (!cross && (steps[event.key] || event.key === "Enter")) {
      cross = line("drawn");
      cross.at = { x: box.x + box.width / 2, y: box.y + box.height / 2 };
    }
    if (steps[event.key]) {
      const far = box.width / (event.shiftKey ? 200 : 40);
      cross.at.x += steps[event.key][0] * far;
      cross.at.y += steps[event.key][1] * far;
    } else if (event.key === "Enter") set({ ...cross.at });
    else if (event.key === "Escape") return end();
    else return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const { x, y } = cross?.at ?? { x: 0, y: 0 };
    const arm = box.width / 40;
    cross?.setAttribute(
      "points",
      `${x - arm},${y} ${x + arm},${y} ${x},${y} ${x},${y - arm} ${x},${y + arm}`,
    );
  },
  true,
);
