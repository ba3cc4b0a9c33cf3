// Plays the film beside its record: a click jumps, and the line in force is shown.
"use strict";
const film = document.querySelector("video");
const rows = [...document.querySelectorAll("tbody tr[data-at]")];
const times = rows.map((row) => Number(row.dataset.at));
const head = document.getElementById("head");
const length = Number(document.getElementById("lanes").dataset.length);
const list = document.querySelector(".list");
const track = film.addTextTrack("subtitles", "What was stated", "en");

rows.forEach((row, place) => {
  const text = [...row.querySelectorAll("[data-told]")].map((cell) => cell.textContent.trim());
  track.addCue(new VTTCue(times[place], Number(row.dataset.until), text.filter(Boolean).join("\n")));
});

let shown;

function show() {
  const place = times.findLastIndex((at) => at <= film.currentTime + 0.02);
  rows.forEach((row, number) => row.toggleAttribute("aria-current", number === place));
  for (const told of ["said", "counts", "answered"]) {
    const cell = rows[place]?.querySelector(`[data-told=${told}]`);
    document.getElementById(told).textContent = cell?.textContent.trim() || "–";
  }
  const row = rows[place];
  if (row && row !== shown) {
    shown = row;
    const below = row.offsetTop + row.offsetHeight - list.clientHeight;
    list.scrollTop = Math.max(below, Math.min(list.scrollTop, row.offsetTop - row.offsetHeight));
  }
  head.style.left = `${Math.min(100, (100 * film.currentTime) / length)}%`;
}

function jump(at) {
  film.currentTime = at;
  show();
}

document.addEventListener("click", (event) => {
  const place = event.target.closest("[data-at]");
  const lane = event.target.closest(".lane");
  if (place) {
    jump(Number(place.dataset.at));
  } else if (lane) {
    const box = lane.getBoundingClientRect();
    jump((length * (event.clientX - box.left)) / box.width);
  }
});
document.getElementById("subtitles").addEventListener("change", (event) => {
  track.mode = event.target.checked ? "showing" : "disabled";
});
film.addEventListener("error", () => {
  document.getElementById("missing").hidden = false;
});
for (const moved of ["timeupdate", "seeked", "loadedmetadata"]) film.addEventListener(moved, show);
track.mode = "disabled";
if (film.error) document.getElementById("missing").hidden = false;
show();
