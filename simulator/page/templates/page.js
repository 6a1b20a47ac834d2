"use strict";
// The planning page in the browser: what is typed goes to the server, whose answer takes the place of what stood there.

const plan = document.getElementById("plan");
const statusLine = document.getElementById("status");
let version = plan ? plan.dataset.version : "";
let queue = Promise.resolve();
let conflicting = null;
let lastPhase = "", chartsOf = "";
const wrong = new Map(); // by id of an input: what is wrong with what was typed there

const encoded = (key) => key.split("/").map(encodeURIComponent).join("/");
const key = plan ? encoded(plan.dataset.key) : "";

function tell(text) {
  if (statusLine) statusLine.textContent = text;
}

async function post(path, content, raw) {
  const init = { method: "POST", body: raw || JSON.stringify(content), headers: {} };
  if (!raw) init.headers["Content-Type"] = "application/json";
  try {
    const answer = await fetch(path, init);
    let found = {};
    try { found = await answer.json(); } catch { found = { problems: [{ where: "", message: "the page does not answer as it should" }] }; }
    return { code: answer.status, ...found };
  } catch {
    return { code: 0, problems: [{ where: "", message: "the page's server does not answer; was it stopped? Nothing was saved." }] };
  }
}

function words(problems) {
  return (problems || []).map((one) => [one.file, one.where, one.message].filter(Boolean).join(": ")).join("; ");
}

// ---- inputs

function mark(input, text) {
  const said = document.getElementById(`${input.id}-said`);
  input.classList.toggle("wrong", Boolean(text));
  if (text) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
  if (said) said.textContent = text;
  if (text) wrong.set(input.id, { text, typed: input.value }); else wrong.delete(input.id);
}

// Put new content in place of old: what is being typed, what was refused, the focus and what was unfolded stay.
function renew(place, html) {
  const active = document.activeElement;
  const inside = place.contains(active) && active.id ? { id: active.id, from: active.selectionStart, to: active.selectionEnd } : null;
  const typed = new Map();
  for (const input of place.querySelectorAll("input[id]:not([type=file]):not([type=checkbox]), textarea[id]")) {
    if (input.value !== input.defaultValue) typed.set(input.id, [input.value, input.dataset.sending]);
  }
  const unfolded = new Map([...place.querySelectorAll("details[id]")].map((one) => [one.id, one.open]));
  const checks = new Map([...place.querySelectorAll("input[type=checkbox][name]")].map((one) => [one.name + one.value, one.checked]));
  const chosen = new Map([...place.querySelectorAll("form select[id]")].map((one) => [one.id, one.value]));
  place.innerHTML = html;
  for (const [id, open] of unfolded) { const one = document.getElementById(id); if (one) one.open = open; }
  for (const one of place.querySelectorAll("input[type=checkbox][name]")) if (checks.has(one.name + one.value)) one.checked = checks.get(one.name + one.value);
  for (const [id, value] of chosen) { const one = document.getElementById(id); if (one && [...one.options].some((option) => option.value === value)) one.value = value; }
  for (const [id, [value, sending]] of typed) {
    const one = document.getElementById(id);
    if (one && one.value !== value) one.value = value;
    if (one && sending !== undefined) one.dataset.sending = sending;
  }
  for (const [id, { text, typed: value }] of wrong) {
    const one = document.getElementById(id);
    if (one && place.contains(one)) { one.value = value; mark(one, text); }
  }
  if (inside) {
    const one = document.getElementById(inside.id);
    if (one) {
      one.focus({ preventScroll: true });
      if (inside.from !== null && inside.from !== undefined && one.setSelectionRange) one.setSelectionRange(inside.from, inside.to);
    }
  }
}

function take(found) {
  if (!found.parts) return;
  version = found.version;
  plan.dataset.version = version;
  for (const [name, html] of Object.entries(found.parts)) {
    const place = document.querySelector(`[data-part="${name}"]`);
    if (place) renew(place, html);
  }
}

function wish(content, source) {
  queue = queue.then(() => carry(content, source));
  return queue;
}

async function carry(content, source) {
  tell("Saving …");
  const found = await post(`/edit/${key}`, { ...content, version });
  // another answer may have put a new input in the place of the one that was typed in
  const input = source && source.id ? document.getElementById(source.id) : null;
  if (input) delete input.dataset.sending;
  if (found.code === 200) {
    if (input && "defaultValue" in input && input.value === content.typed) { mark(input, ""); input.defaultValue = input.value; }
    else if (input) wrong.delete(input.id);
    take(found);
    tell("Saved.");
  } else if (found.code === 409) {
    conflict(content);
  } else {
    const text = words(found.problems);
    tell(`Not saved. ${text}`);
    const own = (found.problems || []).map((one) => one.message).join("; ");
    if (input && document.getElementById(`${input.id}-said`)) mark(input, own);
    return text;
  }
  return "";
}

function conflict(content) {
  conflicting = content;
  const box = document.getElementById("conflict");
  document.getElementById("keep-mine").hidden = !content;
  box.hidden = false;
  box.focus();
  tell("Not saved: the job was changed elsewhere.");
}

async function reload() {
  const answer = await fetch(`/parts/${key}`);
  if (answer.ok) take(await answer.json());
  else if (answer.status === 404) tell("This job is not there any more: it was renamed or removed elsewhere.");
}

function sentBy(element) {
  return { ...JSON.parse(element.dataset.sent || "{}"), at: JSON.parse(element.dataset.at) };
}

// What was typed is meant when the input is left, or by Enter. A change event alone would not do: it is not sent for
// an input that took the place of another while it was typed in.
function meant(input) {
  const refused = wrong.get(input.id);
  const same = input.tagName === "INPUT" && input.value === input.defaultValue && !refused;
  if (same || input.dataset.sending === input.value || (refused && refused.typed === input.value)) return;
  input.dataset.sending = input.value;
  wish({ ...sentBy(input), typed: input.value }, input);
}

document.addEventListener("focusout", (event) => {
  if (event.target.matches("input[data-at]") && event.target.isConnected) meant(event.target);
});

document.addEventListener("change", (event) => {
  const input = event.target;
  if (input.dataset && input.dataset.at) meant(input);
  else if (input.id === "drop-file" && input.files.length) upload(input.files[0]).then(() => { input.value = ""; });
  else if (input.id === "quote-logo" && input.files.length) logo(input.files[0]);
});

document.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.dataset.by) wish({ action: "step", at: JSON.parse(button.dataset.at), by: Number(button.dataset.by) });
  else if (button.dataset.wish) wish(JSON.parse(button.dataset.wish));
  else if (button.dataset.do) act(JSON.parse(button.dataset.do), button.dataset.key ? encoded(button.dataset.key) : key, Boolean(button.dataset.key));
  else if (button.id === "take-theirs") { wrong.clear(); document.getElementById("conflict").hidden = true; await reload(); tell("This is the job as it is now."); }
  else if (button.id === "keep-mine") {
    const found = await post(`/edit/${key}`, { ...conflicting, version, as_copy: true });
    if (found.code === 200) location.href = `/job/${encoded(found.key)}`; else tell(words(found.problems));
  } else if (button.id === "lay-pasted") {
    const area = document.getElementById("pasted");
    wish({ action: "paste", row: 0, column: "name", text: area.value }, area).then(() => { const now = document.getElementById("pasted"); if (now && !wrong.has("pasted")) now.value = ""; });
  }
});

async function act(content, of, inList) {
  await queue;
  const found = await post(`/do/${of}`, { ...content, version });
  if (found.code === 409) conflict(null);
  else if (found.code !== 200) tell(words(found.problems));
  else if (content.action === "copy") location.href = `/job/${encoded(found.key)}`;
  else if (content.action === "remove") { if (inList) location.reload(); else location.href = "/"; }
  else {
    if (content.action === "undo") wrong.clear();
    take(found);
    tell({ undo: "Undone.", "keep prices": "Kept in the price list." }[content.action] || "");
  }
}

// Escape takes back what was typed.
document.addEventListener("keydown", (event) => {
  const input = event.target;
  if (event.key === "Enter" && input.matches && input.matches("input[data-at]")) meant(input);
  if (event.key === "Escape" && input.dataset && input.dataset.at && "defaultValue" in input) {
    input.value = input.defaultValue;
    mark(input, "");
  }
});

// ---- pasting and dropping

document.addEventListener("paste", (event) => {
  const cell = event.target.closest ? event.target.closest("#field-table input") : null;
  const text = (event.clipboardData || new DataTransfer()).getData("text");
  if (!cell || !/[\t\n\r]/.test(text.trim())) return;
  event.preventDefault();
  const at = JSON.parse(cell.dataset.at);
  wish({ action: "paste", row: at[1], column: at[2], text }, cell);
});

async function upload(file) {
  const said = document.getElementById("drop-said");
  said.textContent = "";
  tell(`Reading ${file.name} …`);
  await queue;
  const found = await post(`/upload/${key}?name=${encodeURIComponent(file.name)}&version=${version}`, null, file);
  if (found.code === 200) { take(found); tell(`The fields are those of ${file.name}.`); }
  else if (found.code === 409) conflict(null);
  else { said.textContent = words(found.problems); tell("The file was not taken."); }
}

async function logo(file) {
  const found = await post(`/logo?name=${encodeURIComponent(file.name)}`, null, file);
  tell(found.code === 200 ? "The logo is kept for every quote." : words(found.problems));
}

const drop = document.getElementById("drop");
if (drop) {
  for (const kind of ["dragenter", "dragover"]) document.addEventListener(kind, (event) => { event.preventDefault(); drop.classList.add("over"); });
  document.addEventListener("dragleave", () => drop.classList.remove("over"));
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    if (event.dataTransfer.files.length) upload(event.dataTransfer.files[0]);
  });
}

// ---- the map: a landing zone follows the pointer, or the arrow keys

function mapPoint(svg, event) {
  return new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
}

function zoneWish(zone) {
  wish({ action: "zone", place: Number(zone.dataset.zone), x: Number(zone.getAttribute("cx")), y: Number(zone.getAttribute("cy")) });
}

document.addEventListener("pointerdown", (event) => {
  const zone = event.target.closest ? event.target.closest("[data-zone]") : null;
  if (!zone) return;
  const svg = zone.ownerSVGElement;
  let moved = false;
  zone.setPointerCapture(event.pointerId);
  zone.onpointermove = (move) => {
    const point = mapPoint(svg, move);
    zone.setAttribute("cx", point.x);
    zone.setAttribute("cy", point.y);
    moved = true;
  };
  zone.onpointerup = () => { zone.onpointermove = zone.onpointerup = null; if (moved) zoneWish(zone); };
});

document.addEventListener("keydown", (event) => {
  const zone = event.target.dataset && event.target.dataset.zone !== undefined ? event.target : null;
  if (!zone) return;
  const step = Number(zone.getAttribute("r")) * (event.shiftKey ? 5 : 1);
  const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (way) {
    zone.setAttribute("cx", Number(zone.getAttribute("cx")) + way[0] * step);
    zone.setAttribute("cy", Number(zone.getAttribute("cy")) + way[1] * step);
    event.preventDefault();
  } else if (event.key === "Enter") zoneWish(zone);
});

// ---- forms

function formTable(form) {
  const table = {};
  for (const [name, value] of new FormData(form)) {
    if (name === "sets" || name === "classes") (table[name] ||= []).push(value); else table[name] = value;
  }
  return table;
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.classList.contains("ask")) return;
  event.preventDefault();
  await queue;
  for (const said of form.querySelectorAll(".said")) said.textContent = "";
  const given = formTable(form);
  if (form.id === "new") place(form, "new", await post("/new", given), (found) => { location.href = `/job/${encoded(found.key)}`; });
  else if (form.id === "rename") place(form, "rename", await post(`/do/${key}`, { action: "rename", ...given }), (found) => { location.href = `/job/${encoded(found.key)}`; });
  else if (form.id === "quote") {
    const done = document.getElementById("quote-done");
    done.textContent = "Being made …";
    const found = await post(`/quote/${key}`, given);
    done.textContent = "";
    place(form, "quote", found, () => {
      const link = document.createElement("a");
      link.href = found.address;
      link.textContent = "The quote (PDF)";
      link.id = "quote-link";
      done.append(link, found.said ? ` ${found.said}` : "");
      link.focus();
    });
  } else if (form.classList.contains("study")) {
    place(form, "", await post(`/study/${key}`, { study: form.dataset.study, ...given }), (found) => tell(`Asked: ${found.begun}`));
  }
});

function place(form, prefix, found, then) {
  if (found.code === 200) { then(found); return; }
  const said = form.querySelector(":scope > .said") || document.getElementById(`${prefix}-name-said`);
  for (const one of found.problems || []) {
    const at = document.getElementById(`${prefix}-${one.where}-said`) || said;
    if (at) at.textContent = [at.textContent, one.message].filter(Boolean).join("; ");
  }
  tell(`That did not go: ${words(found.problems)}`);
}

// ---- news of the answer

function news(content) {
  const place = document.querySelector('[data-part="answer"]');
  renew(place, content.html);
  const finished = content.phase === "ready";
  if (content.phase !== lastPhase) {
    const spoken = { running: "Simulating.", writing: "The answer is decided.", stopped: "Stopped.", broken: "The simulation has ended by itself.", refused: "This cannot be simulated as it stands." };
    if (spoken[content.phase]) document.getElementById("said-answer").textContent = spoken[content.phase];
    lastPhase = content.phase;
  }
  const charts = document.getElementById("charts"), report = document.getElementById("whole-report");
  charts.classList.toggle("old", !finished);
  report.hidden = !finished;
  document.body.classList.toggle("decided", finished);
  if (finished && chartsOf !== content.digest) {
    chartsOf = content.digest;
    fetch(`/charts/${key}`).then((answer) => answer.text()).then((html) => { charts.innerHTML = html; charts.dataset.of = content.digest; });
    const frame = report.querySelector("iframe");
    frame.removeAttribute("src");
    if (report.open) frame.src = `/report/${key}`;
  }
}

if (plan) {
  const stream = new EventSource(`/events/${key}?version=${version}`);
  stream.addEventListener("answer", (event) => news(JSON.parse(event.data)));
  stream.addEventListener("studies", (event) => renew(document.getElementById("studies"), JSON.parse(event.data).html));
  stream.addEventListener("version", (event) => {
    queue = queue.then(async () => {
      const present = JSON.parse(event.data).version;
      if (present === version) return;
      const typing = [...document.querySelectorAll("input[data-at]")].some((one) => one.value !== one.defaultValue);
      if (typing && present) { conflict(null); return; }
      await reload();
      if (present) tell("Changed elsewhere; this is the job as it is now.");
    });
  });
  stream.addEventListener("error", () => tell("The page's server does not answer; it is tried again."));
  stream.addEventListener("open", () => { if (statusLine.textContent.startsWith("The page's server")) tell(""); });
  const report = document.getElementById("whole-report");
  report.addEventListener("toggle", () => {
    const frame = report.querySelector("iframe");
    if (report.open && !frame.getAttribute("src")) frame.src = `/report/${key}`;
  });
}
