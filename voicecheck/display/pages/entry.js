// Entry by hand: phrases as keys. A key only submits its phrase; the case decides what follows.

import { clock } from "/pages/clock.js";
import { follow } from "/pages/stream.js";

const at = (id) => document.getElementById(id);
const token = new URLSearchParams(location.search).get("token") ?? "";
const authorization = { Authorization: "Bearer " + token };
const AGAIN_AFTER_MS = 700; // debounce: a trembling finger enters once
const ANSWER_WITHIN_MS = 8000; // the machine itself gives up after 6 s
const CLOSED = "Not entered: the record is closed.";
let groups = [];
let fixed = {}; // role -> phrase
let last = { phrase: "", at: -Infinity };
let shown, shownAt; // the view, and when it was made
let askedAt = -Infinity; // when its question came

function tell(problem) {
  at("problem").textContent = problem;
}

async function enter(phrase) {
  if (phrase === last.phrase && performance.now() - last.at < AGAIN_AFTER_MS) return;
  last = { phrase, at: performance.now() };
  tell("");
  at("top").focus({ preventScroll: true }); // so that Enter answers what is read back
  if (!shown && [fixed.confirm, fixed.negative].includes(phrase)) {
    tell("Not entered: no question is shown yet.");
    return;
  }
  try {
    const body = JSON.stringify({ phrase, line: shown?.line ?? 0 });
    const signal = AbortSignal.timeout(ANSWER_WITHIN_MS);
    const answer = await fetch("/entry", { method: "POST", headers: authorization, body, signal });
    if (!answer.ok) tell(await answer.text());
  } catch {
    const look = `No answer: look at the screen to see whether “${phrase}” was entered.`;
    tell(shown?.gate.barrier === "record_closed" ? CLOSED : look);
  }
}

function key({ phrase, label, withdraws, role }) {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = label;
  button.dataset.phrase = phrase;
  button.classList.toggle("withdraws", withdraws);
  if (role) button.classList.add(role);
  button.addEventListener("click", () => enter(phrase));
  return button;
}

function group({ title, keys }) {
  const section = document.createElement("section");
  const h2 = document.createElement("h2");
  h2.textContent = title;
  section.classList.toggle("urgent", title === "Leave the course");
  section.append(h2, ...keys.map(key));
  return section;
}

/** Repeats the keys of the current phase at the top, so that nobody has to search for them. */
function nearest(title) {
  if (at("now-title").textContent === title) return;
  const keys = groups.find((each) => each.title === title)?.keys ?? [];
  at("now-title").textContent = title;
  at("now-keys").replaceChildren(...keys.filter((each) => !each.withdraws).map(key));
  at("now").hidden = keys.length === 0;
}

// --------------------------------------------------------------------------------- the keyboard

const buttons = () => [...document.querySelectorAll("#fixed button, #groups button")];
const typed = () => at("find").value.toLowerCase().split(/\s+/).filter(Boolean);

function matches(button) {
  const words = `${button.dataset.phrase} ${button.textContent}`.split(" ");
  return typed().every((start) => words.some((word) => word.startsWith(start)));
}

/** Hides what does not match; the fixed keys stay. */
function filter() {
  tell("");
  for (const button of document.querySelectorAll("#groups button")) button.hidden = !matches(button);
  for (const section of document.querySelectorAll("#groups section")) {
    section.hidden = !section.querySelector("button:not([hidden])");
  }
}

function clear() {
  at("find").value = "";
  filter();
}

/** A phrase that is typed whole is meant, even if its words begin others too. */
function take() {
  const whole = buttons().filter((button) => button.textContent === typed().join(" "));
  const left = whole.length ? whole : buttons().filter(matches);
  if (left.length === 1) {
    const { phrase } = left[0].dataset;
    clear();
    enter(phrase);
  } else if (left.length === 0) {
    tell("Not entered: no phrase has words that begin so.");
  } else {
    tell(`Not entered: ${left.length} phrases begin so. Type more, or choose with the arrow down.`);
  }
}

/** Enter confirms and Escape declines what is read back; a key that has the focus is its own. */
function reply(role) {
  if (performance.now() - Math.max(last.at, askedAt) < AGAIN_AFTER_MS) {
    tell("Not entered: pressed before the question could be read. Press it again.");
  } else {
    enter(fixed[role]);
  }
}

addEventListener("keydown", (event) => {
  if (event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
  const finding = event.target === at("find");
  const asks = shown?.asked.kind === "read_back";
  if (event.key === "Enter" && finding && typed().length) take();
  else if (event.key === "Escape" && finding && at("find").value) clear();
  else if (event.key === "ArrowDown" && finding) buttons().filter(matches).at(0)?.focus();
  else if (event.key === "Enter" && asks && event.target.tagName !== "BUTTON") reply("confirm");
  else if (event.key === "Escape" && asks) reply("negative");
  else return;
  event.preventDefault();
});
at("find").addEventListener("input", filter);

// ------------------------------------------------------------------------------------- the case

function line(kind, ...words) {
  const li = document.createElement("li");
  li.className = kind;
  li.textContent = words.filter(Boolean).join(" ");
  return li;
}

function draw(view) {
  const { machine, gate, asked, heard, answer, phases, missing, kept } = view;
  const lines = phases.flatMap((phase) => phase.lines).filter((each) => each.missing);
  at("hearing").textContent = machine.word;
  at("trouble").textContent = machine.trouble && `${machine.trouble} since ${clock(machine.since_utc)}`;
  at("rehearsal").textContent = view.rehearsal;
  at("gate").textContent = `${gate.word}: ${gate.sentence}`;
  at("asked").textContent = asked.text;
  document.body.classList.toggle("asks", asked.kind === "read_back");
  at("how-reply").textContent = asked.kind === "read_back" ? "Enter confirms, Escape declines." : "";
  const words = heard ? `${heard.how}${heard.words && ` “${heard.words}”`}: ${heard.taken}. ` : "";
  at("heard").textContent = `${words}${answer?.text ?? ""}`;
  at("missing").hidden = lines.length === 0;
  at("missing-title").textContent = `${missing}: ${lines.length}`;
  at("missing-names").replaceChildren(
    ...lines.map((each) => line(each.mark, each.name, each.word && `(${each.word}`, each.word && `${each.since_utc && clock(each.since_utc)})`)),
  );
  at("kept").hidden = kept.length === 0;
  at("kept-lines").replaceChildren(...kept.map((each) => line(each.mark, each.text, each.at_utc && clock(each.at_utc))));
  at("caution").textContent = view.caution;
  nearest(phases.find((phase) => phase.current)?.title ?? "");
  tick();
}

function tick() {
  const left = shown ? Math.ceil(shown.asked.wait_s - (performance.now() - shownAt) / 1000) : 0;
  const waits = shown?.asked.wait_s > 0 && shown.machine.hearing !== "speaking";
  const text = waits ? `${Math.max(0, left)} s` : "";
  if (at("wait").textContent !== text) at("wait").textContent = text;
}

const answer = await fetch("/keys", { headers: authorization });
if (answer.ok) {
  const [first, ...others] = await answer.json();
  groups = others;
  fixed = Object.fromEntries(first.keys.map((each) => [each.role, each.phrase]));
  at("fixed").style.setProperty("--keys", first.keys.length);
  at("fixed").replaceChildren(...first.keys.map(key));
  at("groups").replaceChildren(...groups.map(group));
} else {
  tell(await answer.text());
}

follow(
  (view, age) => {
    shownAt = performance.now() - age;
    if (shown?.asked.text !== view.asked.text) askedAt = shownAt;
    shown = view;
    draw(view);
  },
  (link, words) => {
    document.body.dataset.link = link;
    at("stale").hidden = link === "live";
    if (at("stale").textContent !== words) at("stale").textContent = words;
  },
);
setInterval(tick, 250);
