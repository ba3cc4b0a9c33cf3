// Entry by hand: phrases as keys. A key only submits its phrase; the case decides what follows.

import { follow } from "/pages/stream.js";

const at = (id) => document.getElementById(id);
const token = new URLSearchParams(location.search).get("token") ?? "";
const authorization = { Authorization: "Bearer " + token };
const AGAIN_AFTER_MS = 700; // debounce: a trembling finger enters once
const ANSWER_WITHIN_MS = 8000; // the machine itself gives up after 6 s
let groups = [];
let replies = new Set();
let last = { phrase: "", at: 0 };
let line = 0; // the log's line that this page shows

async function enter(phrase) {
  if (phrase === last.phrase && performance.now() - last.at < AGAIN_AFTER_MS) return;
  last = { phrase, at: performance.now() };
  const body = JSON.stringify({ phrase, line });
  at("problem").textContent = "";
  if (!line && replies.has(phrase)) {
    at("problem").textContent = "Not entered: no question is shown yet.";
    return;
  }
  try {
    const signal = AbortSignal.timeout(ANSWER_WITHIN_MS);
    const answer = await fetch("/entry", { method: "POST", headers: authorization, body, signal });
    if (!answer.ok) at("problem").textContent = await answer.text();
  } catch {
    at("problem").textContent = `No answer: look at the screen to see whether “${phrase}” was entered.`;
  }
}

function key({ phrase, label, withdraws }) {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = label;
  button.dataset.phrase = phrase;
  button.classList.toggle("withdraws", withdraws);
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

const buttons = () => [...document.querySelectorAll("#groups button")];

function filter() {
  const typed = at("find").value.toLowerCase().split(/\s+/).filter(Boolean);
  for (const button of buttons()) {
    const words = button.textContent.split(" ");
    button.hidden = !typed.every((start) => words.some((word) => word.startsWith(start)));
  }
  for (const section of document.querySelectorAll("#groups section")) {
    section.hidden = !section.querySelector("button:not([hidden])");
  }
}

at("find").addEventListener("input", filter);
at("find").addEventListener("keydown", (event) => {
  const left = buttons().filter((button) => !button.hidden);
  if (event.key === "Enter" && at("find").value.trim() && left.length === 1) {
    enter(left[0].dataset.phrase);
    at("find").value = "";
    filter();
  } else if (event.key === "Escape") {
    at("find").value = "";
    filter();
  } else if (event.key === "ArrowDown" && left.length) {
    left[0].focus();
  }
});

function draw(view) {
  line = view.line;
  const { machine, gate, asked, heard, phases } = view;
  const now = phases.find((phase) => phase.current)?.title ?? "";
  at("hearing").textContent = machine.word;
  at("trouble").textContent = machine.trouble;
  at("gate").textContent = `${gate.word}: ${gate.sentence}`;
  at("asked").textContent = asked.text;
  document.body.classList.toggle("asks", asked.kind === "read_back");
  at("heard").textContent = heard ? `${heard.how}${heard.words && ` “${heard.words}”`}: ${heard.taken}` : "";
  at("caution").textContent = view.caution;
  nearest(now);
}

const answer = await fetch("/keys", { headers: authorization });
if (answer.ok) {
  const [reply, ...others] = await answer.json();
  groups = others;
  replies = new Set(reply.keys.map((each) => each.phrase));
  at("reply").replaceChildren(...reply.keys.map(key));
  at("groups").replaceChildren(...groups.map(group));
} else {
  at("problem").textContent = await answer.text();
}

follow(draw, (link, words) => {
  document.body.dataset.link = link;
  at("stale").hidden = link === "live";
  if (at("stale").textContent !== words) at("stale").textContent = words;
});
