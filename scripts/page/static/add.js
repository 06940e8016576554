// Hand photos over one by one, with progress for each, and show what becomes of them.
// Without this module the form sends them all at once, and the page shows them when it is loaded.

const form = document.getElementById("add");
const drop = document.getElementById("drop");
const list = document.getElementById("arrivals");
const sum = document.getElementById("sum");
const token = document.querySelector('meta[name="csrf"]').content;
const waiting = [];
let sending = 0;
let asking = false;
document.getElementById("or-drop").hidden = false;

function row(name) {
  const item = document.createElement("li");
  const title = document.createElement("strong");
  const words = document.createElement("span");
  const bar = document.createElement("progress");
  title.textContent = name;
  words.textContent = ": waits to be sent";
  bar.max = 1;
  bar.value = 0;
  bar.setAttribute("aria-label", `How much of ${name} is sent`);
  item.append(title, words, bar);
  list.prepend(item);
  return item;
}

function say(item, words, alarm = false) {
  const span = item.querySelector("span");
  span.textContent = `: ${words}`;
  span.className = alarm ? "alarm" : "";
  item.querySelector("progress")?.remove();
}

function send(file, item) {
  return new Promise((done) => {
    const request = new XMLHttpRequest();
    const body = new FormData();
    body.append("plant", form.plant.value);
    body.append("photos", file, file.name);
    request.open("POST", "/add");
    request.setRequestHeader("x-spotlamp-form", token);
    request.setRequestHeader("accept", "application/json");
    request.upload.addEventListener("progress", (event) => {
      const bar = item.querySelector("progress");
      if (bar && event.lengthComputable) bar.value = event.loaded / event.total;
    });
    request.addEventListener("load", () => {
      let answer = { taken: [], refused: [`was not taken (${request.status}).`] };
      try {
        answer = JSON.parse(request.responseText);
      } catch {
        // a page that says what is wrong; the number is enough here
      }
      if (answer.taken.length) {
        item.dataset.key = answer.taken[0].key;
        say(item, "waits to be scored");
        ask();
      } else say(item, `refused: ${answer.refused.join(" ")}`, true);
      done();
    });
    request.addEventListener("error", () => {
      say(item, "not sent: the garden page cannot be reached. Add it again.", true);
      done();
    });
    request.send(body);
  });
}

async function next() {
  if (sending >= 2 || !waiting.length) return;
  sending += 1;
  const [file, item] = waiting.shift();
  item.querySelector("span").textContent = ": is sent";
  await send(file, item);
  sending -= 1;
  next();
}

function add(files) {
  for (const file of files) waiting.push([file, row(file.name)]);
  next();
  next();
}

async function ask() {
  if (asking) return;
  asking = true;
  let left = 1;
  while (left) {
    await new Promise((done) => setTimeout(done, 700));
    try {
      const answer = await fetch("/arrivals.json", { headers: { accept: "application/json" } });
      left = show(await answer.json());
    } catch {
      sum.textContent = "The garden page cannot be reached; what was sent is kept.";
    }
  }
  asking = false;
}

function show(arrivals) {
  const left = arrivals.filter((one) => one.state === "waiting").length;
  sum.textContent = left ? `${left} to be scored.` : "All are scored.";
  for (const one of arrivals) {
    const item = list.querySelector(`[data-key="${CSS.escape(one.key)}"]`);
    if (!item || item.dataset.state === one.state) continue;
    if (one.state === "refused") say(item, `refused: ${one.words}`, true);
    if (one.state === "filed") {
      say(item, one.words);
      if (one.photo) {
        const link = document.createElement("a");
        link.href = `/photo/${one.photo}`;
        link.textContent = "See it";
        item.append(" ", link);
      }
    }
    if (one.state !== "waiting") item.dataset.state = one.state;
  }
  return left + waiting.length + sending;
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  for (const input of form.querySelectorAll('input[type="file"]')) {
    add([...input.files]);
    input.value = "";
  }
});
for (const input of form.querySelectorAll('input[type="file"]')) {
  input.addEventListener("change", () => form.requestSubmit());
}
for (const name of ["dragenter", "dragover"]) {
  drop.addEventListener(name, (event) => {
    event.preventDefault();
    drop.classList.add("over");
  });
}
drop.addEventListener("dragleave", () => drop.classList.remove("over"));
drop.addEventListener("drop", (event) => {
  event.preventDefault();
  drop.classList.remove("over");
  add([...event.dataTransfer.files]);
});
if (sum.textContent.includes("to be scored")) ask();
