// The search box, and the boxes that pick out all joints of a verdict, a person, a machine or a day.

import { openCard } from "./chosen.js";
import { button, byId, element, fill, said } from "./elements.js";
import { WAYS, meaningsOf, picked, refusalOf, valuesOf } from "./finding.js";
import { finding, joint } from "./record.js";
import { change, choose, onChange, state } from "./state.js";
import { many, stationText } from "./text.js";
import { lines } from "./world.js";

const MOST_FOUND = 8;

export function startSearch() {
  const box = byId("find");
  box.addEventListener("input", () => showFound(box.value));
  box.addEventListener("keydown", (event) => {
    const found = event.key === "Enter" ? showFound(box.value) : [];
    if (found.length) take(found[0]);
  });
  byId("find-part").addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    if (byId("found").contains(document.activeElement)) box.focus();
    clear();
  });
  startNarrow();
}

function clear() {
  byId("find").value = "";
  fill(byId("found"), []);
}

function take(meaning) {
  clear();
  if (meaning.kind === "set") change({ picked: picked([meaning]) });
  else showCardOf(meaning);
}

// Also on a phone the card is brought into view: left to itself, a browser keeps what stood below the search where it
// was, and with it the end of the card that grew above it.
function showCardOf(meaning) {
  choose(meaning);
  openCard();
}

// Shows what the text may mean and returns it, best first.
function showFound(text) {
  const found = meaningsOf(text), rest = found.length - MOST_FOUND;
  fill(byId("found"), text.trim() === "" ? [] : [
    found.slice(0, MOST_FOUND).map((meaning) => button(wordsOf(meaning), () => take(meaning))),
    rest > 0 ? element("p", {}, "and " + rest + " more: type on") : null,
    found.length ? null : nothingFor(text),
  ]);
  return found;
}

function nothingFor(text) {
  const { wrong, write } = refusalOf(text);
  return element("p", {}, wrong || ["Nothing fits “", said(text), "”."], write ? " " + write : null);
}

function wordsOf(meaning) {
  if (meaning.kind === "joint") {
    const station = joint("station", meaning.row);
    return ["Joint ", said(joint("joint_id", meaning.row)), station === null ? ", without a place" : [" at ", said(station)]];
  }
  if (meaning.kind === "finding") return ["Finding ", said(finding("finding_id", meaning.row)), ", " + many(finding("joints_n", meaning.row), "joint")];
  if (meaning.kind === "set") return [many(meaning.count, "joint"), ", ", said(meaning.way.says(meaning.value))];
  const on = lines.length > 1 ? [" on ", said(meaning.line)] : null;
  return [meaning.given ? "Nearest on the line: station " : "Station ", stationText(meaning.stated), on];
}

// ---- all joints of ---------------------------------------------------------------------------------------------------

function startNarrow() {
  const boxes = WAYS.map((way) => ({ way, values: valuesOf(way) })).filter(({ values }) => values.length > 0).map(({ way, values }) => {
    const options = values.map(({ label, count }, i) => element("option", { value: String(i) }, label + " (" + count + ")"));
    const box = element("select", { change: pick }, element("option", { value: "" }, "any"), options);
    return { way, values, box, label: element("label", {}, way.name + " ", box) };
  });
  // Several boxes hold together: out of window and made by one machine.
  function pick() {
    const chosen = boxes.filter(({ box }) => box.value !== "").map(({ way, values, box }) => ({ way, value: values[Number(box.value)].value }));
    change({ picked: chosen.length ? picked(chosen) : null });
  }
  onChange((changed) => {
    if (changed.includes("picked") && state.picked === null) boxes.forEach(({ box }) => { box.value = ""; });
  });
  byId("narrow").append(...boxes.map(({ label }) => label));
}
