// Draws the View on the prompt display. All text is set as text, never as HTML. Nothing can be entered.

import { follow } from "/pages/stream.js";

const at = (id) => document.getElementById(id);
const clock = (utc) => utc.slice(11, 16);
let shown, shownAt;

function icon(name) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
  svg.setAttribute("aria-hidden", "true");
  use.setAttribute("href", "#" + name);
  svg.append(use);
  return svg;
}

function hidden(text) {
  const span = document.createElement("span");
  span.className = "unseen";
  span.textContent = text;
  return span;
}

function say(id, text) {
  if (at(id).textContent !== text) at(id).textContent = text;
}

function phase({ title, lines, current }) {
  const li = document.createElement("li");
  const whole = lines.every((line) => line.mark === "stands");
  li.classList.toggle("current", current);
  li.classList.toggle("whole", whole);
  const name = document.createElement("span");
  name.textContent = title;
  li.append(icon(current ? "mark-now" : whole ? "mark-stands" : "mark-open"), name);
  const end = document.createElement("span");
  if (whole) {
    end.textContent = clock(lines.map((line) => line.since_utc).sort().at(-1));
    end.title = "stands since, UTC";
  } else {
    end.className = "marks";
    const count = lines.filter((line) => line.mark === "stands").length;
    end.append(...lines.map((line) => icon("mark-" + line.mark)), hidden(`${count} of ${lines.length} stated`));
  }
  li.append(end);
  return li;
}

/** Shrinks names that do not fit, then drops and counts the last ones. Returns whether any name fits. */
function list({ names, asked_first }) {
  const ul = at("names");
  ul.replaceChildren(
    ...names.map((name, n) => {
      const li = document.createElement("li");
      li.append(icon(asked_first && n === 0 ? "mark-now" : "mark-open"), name);
      return li;
    }),
  );
  ul.classList.remove("many");
  ul.classList.toggle("many", overflows(ul));
  const more = document.createElement("span");
  more.className = "more";
  for (let left = 1; ul.childElementCount > 1 && overflows(ul); left += 1) {
    ul.lastElementChild.remove();
    more.textContent = `and ${left} more`;
    ul.lastElementChild.append(" ", more);
  }
  return !overflows(ul);
}

function overflows(ul) {
  const tails = 0.1 * parseFloat(getComputedStyle(ul).fontSize); // descenders hang below the last line
  return ul.scrollHeight > ul.clientHeight + tails;
}

function quoted(words) {
  const q = document.createElement("q");
  q.textContent = words;
  return q;
}

function draw(view) {
  document.body.dataset.barrier = view.gate.barrier;
  document.body.dataset.hearing = view.machine.hearing;
  document.querySelector("header").classList.toggle("in-trouble", view.machine.trouble !== "");
  document.querySelector(".hearing use").setAttribute("href", "#hearing-" + view.machine.hearing);
  document.querySelector(".gate use").setAttribute("href", "#barrier-" + view.gate.barrier);
  say("hearing-word", view.machine.word);
  say("trouble", view.machine.trouble);
  say("opened", clock(view.opened_utc) + " UTC");

  at("asked").dataset.kind = view.asked.kind;
  say("asked-text", view.asked.text);
  at("say").hidden = view.asked.say.length === 0;
  say("say-label", view.asked.say_label);
  at("say-words").replaceChildren(...view.asked.say.flatMap((words) => [quoted(words), " "]));
  say("outstanding-label", view.outstanding.label);
  at("outstanding-label").classList.toggle("alone", view.outstanding.names.length === 0);

  at("before").replaceChildren(...view.phases.filter((s) => !s.gated).map(phase));
  at("after").replaceChildren(...view.phases.filter((s) => s.gated).map(phase));
  say("gate-word", view.gate.word);
  say("gate-sentence", view.gate.sentence);

  at("heard").hidden = !view.heard;
  if (view.heard) {
    at("heard").dataset.outcome = view.heard.outcome;
    document.querySelector(".taken use").setAttribute("href", "#outcome-" + view.heard.outcome);
    say("heard-how", view.heard.how);
    say("heard-words", view.heard.words);
    say("heard-taken", view.heard.taken);
  }
  say("caution", view.caution);
  say("messages", view.machine.messages.join(" "));
  say("title", view.title);
  say("case", "Case " + view.case);
  tick();
  fit();
}

/**
 * The question and all that may be said to it are never cut. If space is short, the names give way
 * first (see list). Then the question shrinks; then its label moves beside the phrases. If still no
 * name fits, the question stands alone, as large as possible: the gate says how many are outstanding.
 */
function fit() {
  const now = document.querySelector(".now");
  const largest = (fits) =>
    ["asked", "asked long", "asked long tight"].some((look) => {
      at("asked").className = look;
      return fits() && now.scrollHeight <= now.clientHeight;
    });
  at("outstanding").hidden = !shown.outstanding.label;
  if (largest(() => list(shown.outstanding))) return;
  at("outstanding").hidden = true;
  largest(() => true);
}

function tick() {
  if (!shown) return;
  const since = performance.now() - shownAt;
  const elapsed = Date.parse(shown.at_utc) - Date.parse(shown.opened_utc) + since;
  const closed = shown.gate.barrier === "record_closed";
  const minutes = Math.max(0, Math.floor((closed ? elapsed - since : elapsed) / 60000));
  say("elapsed", `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}`);
  const left = Math.ceil(shown.asked.wait_s - since / 1000);
  const waits = shown.asked.wait_s > 0 && shown.machine.hearing !== "speaking";
  say("wait", waits ? `${Math.max(0, left)} s` : "");
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
setInterval(tick, 250);
addEventListener("resize", () => shown && fit());
document.fonts.ready.then(() => shown && fit());
