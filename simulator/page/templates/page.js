"use strict";
// The planning page in the browser: what is typed goes to the server, whose answer takes the place of what stood there.

const byId = (id) => document.getElementById(id);
const plan = byId("plan");
const encoded = (key) => key.split("/").map(encodeURIComponent).join("/");
const key = plan ? encoded(plan.dataset.key) : "";
const wrong = new Map(); // by id of an input: what is wrong with what was typed there
let version = plan ? plan.dataset.version : "";
let queue = Promise.resolve();
let conflicting = null, lastPhase = "", chartsOf = "", renewing = false;

function tell(text) {
  if (byId("status")) byId("status").textContent = text;
}

async function post(path, content, raw) {
  try {
    const answer = await fetch(path, { method: "POST", body: raw || JSON.stringify(content) });
    return { code: answer.status, ...(await answer.json()) };
  } catch {
    return { code: 0, problems: [{ message: "the page's server does not answer; was it stopped? Nothing was saved." }] };
  }
}

function words(problems) {
  return (problems || []).map((one) => [one.file, one.where, one.message].filter(Boolean).join(": ")).join("; ");
}

// ---- inputs

function mark(input, text) {
  input.classList.toggle("wrong", Boolean(text));
  input.toggleAttribute("aria-invalid", Boolean(text));
  if (text) input.setAttribute("aria-invalid", "true");
  byId(`${input.id}-said`).textContent = text;
  if (text) wrong.set(input.id, { text, typed: input.value }); else wrong.delete(input.id);
}

// Put new content in place of old: what is being typed, what was refused, the focus and what was unfolded stay.
function renew(place, html) {
  const active = place.contains(document.activeElement) && document.activeElement.id ? document.activeElement : null;
  const caret = active && [active.id, active.selectionStart, active.selectionEnd];
  const kept = [];
  for (const one of place.querySelectorAll("[id]")) {
    const { value, checked, open } = one, sending = one.dataset.sending;
    if (one.tagName === "DETAILS") kept.push([one.id, { open }]);
    else if (one.type === "checkbox") kept.push([one.id, { checked }]);
    else if (one.tagName === "SELECT" ? !one.dataset.at : "defaultValue" in one && one.type !== "file" && value !== one.defaultValue) kept.push([one.id, { value }, sending]);
  }
  // an input that goes with the old content is not left by whoever types in it
  renewing = true;
  place.innerHTML = html;
  renewing = false;
  for (const [id, state, sending] of kept) {
    const one = byId(id);
    if (one) Object.assign(one, state);
    if (one && sending !== undefined) one.dataset.sending = sending;
  }
  for (const [id, { text, typed }] of wrong) {
    const one = byId(id);
    if (one && place.contains(one)) { one.value = typed; mark(one, text); }
  }
  const now = caret && byId(caret[0]);
  if (now) now.focus({ preventScroll: true });
  if (now && typeof caret[1] === "number" && now.setSelectionRange) now.setSelectionRange(caret[1], caret[2]);
}

function take(found) {
  if (!found.parts) return;
  version = found.version;
  for (const [name, html] of Object.entries(found.parts)) renew(document.querySelector(`[data-part="${name}"]`), html);
}

function wish(content, source) {
  queue = queue.then(() => carry(content, source ? source.id : ""));
  return queue;
}

async function carry(content, id) {
  tell("Saving …");
  const found = await post(`/edit/${key}`, { ...content, version });
  // another answer may have put a new input in the place of the one that was typed in
  const input = byId(id);
  if (input) delete input.dataset.sending;
  if (found.code === 200) {
    if (input && "defaultValue" in input && input.value === content.typed) input.defaultValue = input.value;
    wrong.delete(id);
    // a list takes the place of what was refused in its cells
    if (content.action === "paste") for (const one of document.querySelectorAll("#field-table input")) wrong.delete(one.id);
    take(found);
    tell("Saved.");
  } else if (found.code === 409) conflict(content);
  else {
    tell(`Not saved. ${words(found.problems)}`);
    if (input && byId(`${id}-said`)) mark(input, found.problems.map((one) => one.message).join("; "));
  }
}

function conflict(content) {
  conflicting = content;
  byId("keep-mine").hidden = !content;
  byId("conflict").hidden = false;
  byId("conflict").focus();
  tell("Not saved: the job was changed elsewhere.");
}

const GONE = "This job is not there any more: it was renamed or removed elsewhere.";

// What was typed is meant when the input is left, or by Enter. A change event alone would not do: it is not sent for
// an input that took the place of another while it was typed in.
function meant(input) {
  const refused = wrong.get(input.id);
  const same = input.tagName === "INPUT" && input.value === input.defaultValue && !refused;
  if (same || input.dataset.sending === input.value || (refused && refused.typed === input.value)) return;
  input.dataset.sending = input.value;
  wish({ ...JSON.parse(input.dataset.sent), at: JSON.parse(input.dataset.at), typed: input.value }, input);
}

document.addEventListener("focusout", ({ target }) => {
  if (!renewing && target.matches("input[data-at]") && target.isConnected) meant(target);
});

document.addEventListener("change", ({ target }) => {
  if (renewing) return;
  if (target.dataset.at) meant(target);
  else if (target.id === "drop-file" && target.files.length) upload(target.files[0]);
  else if (target.id === "quote-logo" && target.files.length) logo(target.files[0]);
});

document.addEventListener("keydown", (event) => {
  const input = event.target;
  if (!input.matches("input[data-at]")) return;
  if (event.key === "Enter") meant(input);
  // takes back what was typed
  if (event.key === "Escape") { input.value = input.defaultValue; mark(input, ""); }
});

document.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const { by, at, wish: content, do: doing, key: of } = button.dataset;
  if (by) wish({ action: "step", at: JSON.parse(at), by: Number(by) });
  else if (content) wish(JSON.parse(content));
  else if (doing) act(JSON.parse(doing), of ? encoded(of) : key, Boolean(of));
  else if (button.id === "take-theirs") {
    wrong.clear();
    byId("conflict").hidden = true;
    for (const input of document.querySelectorAll("input[data-at]")) input.value = input.defaultValue;
    const answer = await fetch(`/parts/${key}`);
    if (answer.ok) take(await answer.json());
    tell(answer.ok ? "This is the job as it is now." : GONE);
  } else if (button.id === "keep-mine") {
    const found = await post(`/edit/${key}`, { ...conflicting, version, as_copy: true });
    if (found.code === 200) location.href = `/job/${encoded(found.key)}`; else tell(words(found.problems));
  } else if (button.id === "lay-pasted") {
    await wish({ action: "paste", row: 0, column: "name", text: byId("pasted").value }, byId("pasted"));
    if (!wrong.has("pasted")) byId("pasted").value = "";
  }
});

async function act(content, of, inList) {
  await queue;
  const found = await post(`/do/${of}`, { ...content, version });
  if (found.code === 409) conflict(null);
  else if (found.code !== 200) tell(words(found.problems));
  else if (content.action === "copy") location.href = `/job/${encoded(found.key)}`;
  else if (content.action === "remove") location.href = "/";
  else {
    if (content.action === "undo") wrong.clear();
    take(found);
    tell({ undo: "Undone.", "keep prices": "Kept in the price list." }[content.action] || "");
  }
}

// ---- pasting and dropping

document.addEventListener("paste", (event) => {
  const cell = event.target.closest("#field-table input"), text = event.clipboardData.getData("text");
  if (!cell || !/[\t\n\r]/.test(text.trim())) return;
  event.preventDefault();
  const at = JSON.parse(cell.dataset.at);
  wish({ action: "paste", row: at[1], column: at[2], text }, cell);
});

async function upload(file) {
  const said = byId("drop-said");
  said.textContent = "";
  tell(`Reading ${file.name} …`);
  await queue;
  const found = await post(`/upload/${key}?name=${encodeURIComponent(file.name)}&version=${version}`, null, file);
  byId("drop-file").value = "";
  if (found.code === 200) { take(found); tell(`The fields are those of ${file.name}.`); }
  else if (found.code === 409) conflict(null);
  else { said.textContent = words(found.problems); tell("The file was not taken."); }
}

async function logo(file) {
  const found = await post(`/logo?name=${encodeURIComponent(file.name)}`, null, file);
  tell(found.code === 200 ? "The logo is kept for every quote." : words(found.problems));
}

if (plan) {
  const over = (event) => {
    event.preventDefault();
    byId("drop").classList.toggle("over", event.type === "dragover");
    if (event.type === "drop" && event.dataTransfer.files.length) upload(event.dataTransfer.files[0]);
  };
  for (const kind of ["dragover", "dragleave", "drop"]) document.addEventListener(kind, over);
}

// ---- the map: a landing zone follows the pointer, or the arrow keys

function moved(zone, x, y) {
  zone.setAttribute("cx", x);
  zone.setAttribute("cy", y);
}

function zoneWish(zone) {
  wish({ action: "zone", place: Number(zone.dataset.zone), x: zone.cx.baseVal.value, y: zone.cy.baseVal.value });
}

document.addEventListener("pointerdown", (event) => {
  const zone = event.target.closest("[data-zone]");
  if (!zone) return;
  let dragged = false;
  zone.setPointerCapture(event.pointerId);
  zone.onpointermove = (move) => {
    const point = new DOMPoint(move.clientX, move.clientY).matrixTransform(zone.ownerSVGElement.getScreenCTM().inverse());
    moved(zone, point.x, point.y);
    dragged = true;
  };
  zone.onpointerup = () => { zone.onpointermove = zone.onpointerup = null; if (dragged) zoneWish(zone); };
});

document.addEventListener("keydown", (event) => {
  const zone = event.target.closest("[data-zone]");
  if (!zone) return;
  const step = zone.r.baseVal.value * (event.shiftKey ? 5 : 1);
  const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (way) {
    moved(zone, zone.cx.baseVal.value + way[0] * step, zone.cy.baseVal.value + way[1] * step);
    event.preventDefault();
  } else if (event.key === "Enter") zoneWish(zone);
});

// ---- forms

document.addEventListener("submit", async (event) => {
  const form = event.target, many = ["sets", "classes"];
  if (!form.classList.contains("ask")) return;
  event.preventDefault();
  await queue;
  for (const said of form.querySelectorAll(".said")) said.textContent = "";
  const data = new FormData(form), given = Object.fromEntries(data);
  for (const name of many) given[name] = data.getAll(name);
  const { study } = form.dataset;
  if (form.id === "quote") byId("quote-done").textContent = "Being made …";
  const path = { new: "/new", rename: `/do/${key}`, quote: `/quote/${key}` }[form.id] || `/study/${key}`;
  const found = await post(path, { ...given, ...(study ? { study } : { action: form.id }) });
  if (form.id === "quote") byId("quote-done").textContent = "";
  if (found.code !== 200) {
    for (const { where, message } of found.problems) {
      const at = byId(`${form.id}-${where}-said`) || form.querySelector(":scope > .said") || byId(`${form.id}-name-said`);
      at.textContent = [at.textContent, message].filter(Boolean).join("; ");
    }
    tell(`That did not go: ${words(found.problems)}`);
  } else if (form.id === "quote") {
    const link = Object.assign(document.createElement("a"), { href: found.address, id: "quote-link", textContent: "The quote (PDF)" });
    byId("quote-done").append(link, ` ${found.said}`);
    link.focus();
  } else if (study) tell(`Asked: ${found.begun}`);
  else location.href = `/job/${encoded(found.key)}`;
});

// ---- news of the answer

const SPOKEN = {
  running: "Simulating.", writing: "The answer is decided.", stopped: "Stopped.",
  broken: "The simulation has ended by itself.", refused: "This cannot be simulated as it stands.",
};

function news(content) {
  // a button that is being pressed would be taken from under the finger
  if (document.querySelector('#answer button:active')) { setTimeout(news, 150, content); return; }
  const { html, more, phase, digest } = content;
  renew(document.querySelector('[data-part="answer"]'), html);
  renew(byId("more"), more);
  const finished = phase === "ready", charts = byId("charts"), frame = document.querySelector("#whole-report iframe");
  if (phase !== lastPhase && SPOKEN[phase]) byId("said-answer").textContent = SPOKEN[phase];
  lastPhase = phase;
  charts.classList.toggle("old", !finished);
  byId("whole-report").hidden = !finished;
  document.body.classList.toggle("decided", finished);
  if (!finished || chartsOf === digest) return;
  chartsOf = digest;
  fetch(`/charts/${key}`).then((answer) => answer.text()).then((text) => { charts.innerHTML = text; });
  frame.removeAttribute("src");
  showReport();
}

function showReport() {
  const report = byId("whole-report"), frame = report.querySelector("iframe");
  if (report.open && !frame.getAttribute("src")) frame.src = `/report/${key}`;
}

async function changed({ version: present }) {
  if (present === version) return;
  const answer = await fetch(`/parts/${key}`), found = answer.ok ? await answer.json() : {};
  // news of one's own change may come after the next one
  if (found.version === version) return;
  const typing = [...document.querySelectorAll("input[data-at]")].some((one) => one.value !== one.defaultValue);
  if (typing && present) conflict(null);
  else {
    take(found);
    tell(answer.ok ? "Changed elsewhere; this is the job as it is now." : GONE);
  }
}

if (plan) {
  const stream = new EventSource(`/events/${key}?version=${version}`);
  const hear = (kind, then) => stream.addEventListener(kind, (event) => then(JSON.parse(event.data)));
  hear("answer", news);
  hear("studies", ({ html }) => renew(byId("studies"), html));
  hear("version", (content) => { queue = queue.then(() => changed(content)); });
  stream.addEventListener("error", () => tell("The page's server does not answer; it is tried again."));
  byId("whole-report").addEventListener("toggle", showReport);
}
