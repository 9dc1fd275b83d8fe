// The date control: the line as of any evening, step by step or played.

import { days, ofTheDay, withoutTime } from "./days.js";
import { button, byId, element, fill } from "./elements.js";
import { OUT, joint } from "./record.js";
import { change, onChange, state } from "./state.js";
import { dayText, lengthText, many } from "./text.js";

const A_DAY_MS = 900;  // of playing: long enough to see where the crew went

let playing = 0;  // the timer's number; 0: it stands still

export function startEvening() {
  if (days.length < 2) return;
  const slider = element("input", { type: "range", id: "day", min: "0", max: String(days.length - 1), step: "1", "aria-label": "Evening", input: () => show(Number(slider.value)) });
  slider.value = String(days.length - 1);
  const steps = element("div", { class: "day-steps" },
    button("◀", () => step(-1), { "aria-label": "The evening before" }), slider,
    button("▶", () => step(1), { "aria-label": "The next evening" }),
    button("Play", togglePlay, { id: "play" }), button("All days", () => { stop(); change({ evening: null }); }, { id: "all-days" }));
  fill(byId("evening"), [steps, element("p", { id: "day-says", role: "status" })]);
  byId("evening").hidden = false;
  onChange((changed) => { if (changed.includes("evening")) showDay(); });
  showDay();
  window.addEventListener("hashchange", followAddress);
}

// An address that ends in #evening=2026-03-12 opens on that evening: of a day without a joint, on the last one before it.
export function followAddress() {
  const asked = /^#evening=(\d{4})-(\d\d)-(\d\d)$/.exec(window.location.hash);
  if (!asked || days.length < 2) return;
  const day = Date.UTC(asked[1], asked[2] - 1, asked[3]) / 864e5, until = days.filter((one) => one <= day);
  if (until.length) { stop(); show(until.length - 1); }
}

function at() { return state.evening === null ? days.length - 1 : days.indexOf(state.evening); }

function show(i) { change({ evening: days[Math.max(0, Math.min(days.length - 1, i))] }); }

// From the whole record, a step leads to the last evening, and back from there.
function step(by) {
  stop();
  show(state.evening === null ? days.length - 1 : at() + by);
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

function showDay() {
  const slider = byId("day");
  slider.value = String(at());
  slider.setAttribute("aria-valuetext", state.evening === null ? "All days" : "Evening of " + dayText(state.evening));
  byId("all-days").setAttribute("aria-pressed", String(state.evening === null));
  fill(byId("day-says"), state.evening === null ? wholeText() : dayWords());
}

function wholeText() {
  const without = withoutTime ? "; " + many(withoutTime, "joint") + " without a time stand in the whole record only" : "";
  return "All " + many(days.length, "day") + ", " + dayText(days[0]) + " to " + dayText(days[days.length - 1]) + without + ".";
}

function dayWords() {
  const { rows, length } = ofTheDay(), out = rows.filter((row) => joint("fusion_verdict", row) === OUT).length;
  return ["Evening of ", element("strong", {}, dayText(state.evening)), ": that day " + many(rows.length, "joint")
    + (out ? ", " + out + " out of window" : "") + ", " + lengthText(length, 0) + " newly covered."];
}
