// Draws the View on the prompt display. All text is set as text, never as HTML. Nothing can be entered.

import { follow } from "/pages/stream.js";
import { clock, zone } from "/pages/clock.js";

const at = (id) => document.getElementById(id);
const SMALLEST = 0.27; // of the size for three metres: that for one metre
const WORDS = { open: "never stated", stands: "stated", unsafe: "not as required", fell: "fell", noted: "noted" };
let shown, shownAt, awake;

function part(name, text, kind = "") {
  const made = document.createElement(name);
  made.className = kind;
  made.textContent = text;
  return made;
}

function icon(name) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
  svg.setAttribute("aria-hidden", "true");
  use.setAttribute("href", "#" + name);
  svg.append(use);
  return svg;
}

function say(id, text) {
  if (at(id).textContent !== text) at(id).textContent = text;
}

function overflows(box) {
  const tails = box === at("near") ? 0 : 0.22 * parseFloat(getComputedStyle(box).fontSize); // hang below the line
  return box.scrollWidth > box.clientWidth + 1 || box.scrollHeight > box.clientHeight + tails;
}

/** Makes the letters smaller until the box holds its content. Returns whether it does. */
function fit(box, letters = box) {
  letters.style.fontSize = "";
  const full = parseFloat(getComputedStyle(letters).fontSize);
  for (let scale = 1; overflows(box) && scale > SMALLEST; scale -= 0.03) letters.style.fontSize = `${full * scale}px`;
  return !overflows(box);
}

// ------------------------------------------------------------------------------------- the board

/** One cell an item, always in the same place: the layout follows from the names alone. */
function board(lines) {
  const names = JSON.stringify([lines.map((line) => line.label), innerWidth, innerHeight]);
  at("board").replaceChildren(...lines.map(cell));
  if (at("board").dataset.names === names) return;
  at("board").dataset.names = names;
  let best = { letters: 0 };
  for (let columns = 1; columns <= 6; columns += 1) {
    const found = laid(Math.ceil(lines.length / columns));
    if (found.letters > best.letters + 0.1) best = found;
  }
  at("board").style.setProperty("--rows", best.rows);
  at("board").style.setProperty("--board", `${best.letters}px`);
}

/** How large the letters can be with so many rows. */
function laid(rows) {
  const box = at("board");
  box.style.setProperty("--rows", rows);
  box.style.removeProperty("--board");
  const far = parseFloat(getComputedStyle(box).fontSize);
  const row = box.clientHeight / rows;
  const widest = Math.min(1, box.clientWidth / box.scrollWidth);
  return { rows, letters: Math.min(far * widest, row / 0.915) };
}

function cell({ label, mark, word, since_utc, missing, asked }) {
  const li = part("li", "", mark);
  li.classList.toggle("missing", missing);
  li.classList.toggle("asked-now", asked);
  const told = [WORDS[mark], word, since_utc && clock(since_utc)].filter(Boolean).join(", ");
  li.append(icon("mark-" + mark), part("span", label), part("span", told, "unseen"));
  return li;
}

// ------------------------------------------------------------------------------------- the bands

function told({ mark, text, at_utc }) {
  const span = part("span", "", mark);
  span.append(icon("mark-" + mark), " ", part("span", text));
  if (at_utc) span.append(" ", part("time", clock(at_utc)));
  return span;
}

/** What was answered, in full; beside it, in the room that is left, the last words. */
function last({ answer, heard }) {
  const box = at("last");
  const main = answer ?? (heard && { mark: heard.mark, text: heard.taken });
  box.replaceChildren();
  if (!main) return;
  const words = [heard?.how === "Entered" && "by hand", heard?.words && `“${heard.words}”`, answer && !heard?.answered && heard?.taken];
  const text = part("span", main.text, main.mark);
  const beside = part("span", words.filter(Boolean).join(" "), "beside");
  box.append(icon("mark-" + main.mark), " ", text, " ", beside);
  box.firstChild.setAttribute("class", main.mark);
  if (fit(box, beside)) return;
  beside.remove();
  fit(box, text);
}

/** What stays on the screen: never smaller; if it is too much, the least urgent are counted. */
function kept(all) {
  const box = at("kept");
  box.replaceChildren(...all.map(told));
  for (let left = 1; overflows(box) && box.childElementCount > 1; left += 1) {
    box.querySelector(".more")?.remove();
    box.lastElementChild.remove();
    box.append(part("span", `+${left}`, "more"));
  }
  fit(box);
}

function draw(view) {
  document.body.dataset.barrier = view.gate.barrier;
  document.body.dataset.hearing = view.machine.hearing;
  document.querySelector(".hearing use").setAttribute("href", "#hearing-" + view.machine.hearing);
  document.querySelector(".gate use").setAttribute("href", "#barrier-" + view.gate.barrier);
  say("hearing-word", view.machine.word);
  say("gate-word", view.gate.word);
  say("gate-sentence", view.gate.sentence);
  say("rehearsal", view.rehearsal);
  at("rehearsal").hidden = !view.rehearsal;

  at("asked").dataset.kind = view.asked.kind;
  say("asked-text", view.asked.text);
  say("say-label", view.asked.say_label);
  at("say-words").replaceChildren(...view.asked.say.flatMap((words) => [part("q", words), " "]));

  say("messages", view.machine.messages.filter((each) => each !== view.asked.say_label).join(" "));
  say("caution", view.caution);
  say("title", view.title + " ·");
  say("case", "Case " + view.case);
  hint();
  tick();
  arrange();
}

/** All that depends on the size of the window. */
function arrange() {
  if (!shown) return;
  last(shown);
  kept(shown.kept);
  board(shown.phases.flatMap((phase) => phase.lines));
  at("say").style.fontSize = "";
  if (shown.gate.barrier === "stopped") fit(at("asked"), at("say")); // why can be long
  else fit(at("asked"));
  fit(at("near"));
}

function tick() {
  if (!shown) return;
  const since = performance.now() - shownAt;
  const now = Date.parse(shown.at_utc) + since;
  const over = ["record_closed", "stopped"].includes(shown.gate.barrier);
  const moment = over ? Date.parse(shown.at_utc) : now;
  const minutes = Math.max(0, Math.floor((moment - Date.parse(shown.opened_utc)) / 60000));
  const elapsed = `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}`;
  say("local", clock(moment));
  say("zone", zone(moment));
  say("elapsed", `${elapsed} since opened`);
  say("utc", `${new Date(moment).toISOString().slice(11, 16)} UTC`);
  const left = Math.ceil(shown.asked.wait_s - since / 1000);
  const waits = shown.asked.wait_s > 0 && shown.machine.hearing !== "speaking";
  say("wait", waits ? `${Math.max(0, left)} s` : "");
}

// ---------------------------------------------------------------------- full screen, and no sleep

/** Where the page may keep the screen awake itself (Screen Wake Lock, W3C) it does; else it asks. */
async function stayAwake() {
  try {
    awake = await navigator.wakeLock.request("screen");
    awake.addEventListener("release", hint);
  } catch {
    awake = undefined;
  }
  hint();
}

function hint() {
  const whole = innerHeight >= screen.height - 1 || document.fullscreenElement;
  const asks = [];
  if (!whole) asks.push("Press F11: full screen.");
  if (!awake || awake.released) asks.push("Keep this screen from sleeping: its settings.");
  say("hint", asks.join(" "));
}

follow(
  (view, age) => {
    shown = view;
    shownAt = performance.now() - age;
    draw(view);
  },
  (link, words) => {
    document.body.dataset.link = link;
    at("stale").hidden = link === "live";
    say("stale", words);
  },
);
stayAwake();
setInterval(tick, 250);
addEventListener("resize", () => (hint(), arrange()));
document.addEventListener("visibilitychange", () => document.hidden || stayAwake());
document.fonts.ready.then(arrange);
