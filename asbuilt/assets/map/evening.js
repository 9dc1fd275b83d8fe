// The date control: the line as of any evening, step by step or played.

import { days, idleText, ofTheDay, withoutTime } from "./days.js";
import { button, byId, element, fill } from "./elements.js";
import { OUT, joint } from "./record.js";
import { change, onChange, state } from "./state.js";
import { dayNamed, dayText, lengthText, many } from "./text.js";

const A_DAY_MS = 900;  // of playing: long enough to see where the crew went

let playing = 0;  // the timer's number; 0: it stands still

export function startEvening() {
  if (!days.length) return;
  const slider = element("input", { type: "range", id: "day", min: "0", max: String(days.length - 1), step: "1", "aria-label": "Evening", input: () => show(Number(slider.value)) });
  slider.value = String(days.length - 1);
  const steps = element("div", { class: "day-steps" },
    button("◀", () => step(-1), { "aria-label": "The evening before" }), slider,
    button("▶", () => step(1), { "aria-label": "The next evening" }),
    button("Play", togglePlay, { id: "play" }), button("All days", () => { stop(); change({ evening: null }); }, { id: "all-days" }));
  fill(byId("evening"), [steps, element("p", { id: "day-says", role: "status" })]);
  onChange((changed) => { if (changed.includes("evening")) showDay(); });
  showDay();
  window.addEventListener("hashchange", followAddress);
}

// An address that ends in #evening=2026-03-12 opens on that evening, whether or not a joint was made on the day: the page
// then says that none was. What names no day is said too; nothing else is shown in its stead.
export function followAddress() {
  const asked = /^#evening=(.*)$/.exec(window.location.hash), day = asked ? dayNamed(asked[1]) : null;
  if (!asked || !days.length) return;
  stop();
  change({ evening: day });
  if (day === null) fill(byId("day-says"), wholeText() + " The address asks for an evening, but names no day such as 2026-03-12.");
}

// The last of the days by the evening that is shown; -1 before the first of them.
function at() { return state.evening === null ? days.length - 1 : days.filter((day) => day <= state.evening).length - 1; }

function show(i) { if (i in days) change({ evening: days[i] }); }

// From the whole record, a step leads to the last evening, and back from there; from a day without a joint, to the next
// one with joints on that side.
function step(by) {
  stop();
  const isBetween = state.evening !== null && days[at()] !== state.evening;
  show(state.evening === null ? days.length - 1 : at() + (isBetween && by < 0 ? 0 : by));
}

function togglePlay() {
  if (playing) return stop();
  if (state.evening === null || at() === days.length - 1) show(0);
  playing = window.setInterval(() => {
    show(at() + 1);
    if (at() === days.length - 1) stop();
  }, A_DAY_MS);
  byId("play").textContent = "Stop";
}

function stop() {
  window.clearInterval(playing);
  playing = 0;
  byId("play").textContent = "Play";
}

// ---- what it says ----------------------------------------------------------------------------------------------------

// A record of one day has no evening to choose; what its address asks for is shown all the same.
function showDay() {
  const slider = byId("day"), idle = idleText();
  byId("evening").hidden = days.length < 2 && state.evening === null;
  slider.value = String(Math.max(0, at()));
  slider.setAttribute("aria-valuetext", state.evening === null ? "All days" : "Evening of " + dayText(state.evening) + (idle === null ? "" : ", " + idle));
  byId("all-days").setAttribute("aria-pressed", String(state.evening === null));
  fill(byId("day-says"), state.evening === null ? wholeText() : dayWords());
}

function wholeText() {
  return "All " + many(days.length, "day") + ", " + dayText(days[0]) + " to " + dayText(days[days.length - 1]) + withoutWords() + ".";
}

function withoutWords() {
  return withoutTime ? "; " + many(withoutTime, "joint") + " without a time stand in the whole record only" : "";
}

function dayWords() {
  return ["Evening of ", element("strong", {}, dayText(state.evening)), idleText() === null ? doneWords() : idleWords()];
}

function idleWords() {
  const rest = at() < 0 ? "its first is of " + dayText(days[0])
    : (at() === days.length - 1 ? "its last is of " : "the last before it was made on ") + dayText(days[at()]);
  return ": " + idleText() + "; " + rest + withoutWords() + ".";
}

function doneWords() {
  const { rows, length } = ofTheDay(), out = rows.filter((row) => joint("fusion_verdict", row) === OUT).length;
  return ": that day " + many(rows.length, "joint") + (out ? ", " + out + " out of window" : "") + ", " + lengthText(length, 0) + " newly covered.";
}
