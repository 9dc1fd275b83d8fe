// The checks of a joint: each with its window, and where in it the value lies.

import { NOT_RECORDED, OUT, check, checksOf, joint, limit, record } from "./record.js";
import { element, pairs, said, section } from "./elements.js";
import { besideLimits, capital, figure, lengthText, windowText } from "./text.js";

const fields = new Map(record.fields.map((field) => [field.column, field]));

// What words are held against: a check without a number has no interval.
const WINDOWS_OF_WORDS = new Map([["operator", "what the list allows"], ["machine", "the listed dates"],
  ["visual", "words that pass"], ["end_state", "words that pass"]]);

// The name of a check is that of the quantity it judges, as the table of joints has it.
function checkTitle(name) {
  const field = fields.get(record.quantities[name]);
  return field ? field.title : capital((name || "").replace(/_/g, " "));
}

function nameOf(at) { return limit("check", check("limit", at)); }
function verdictOf(at) { return check("verdict", at) || NOT_RECORDED; }

// What was neither asked for nor written down would only drown the rest: it is named in one sentence.
function isQuiet(at) { return verdictOf(at) === NOT_RECORDED && !limit("required", check("limit", at)); }

export function checksSection(row) {
  const rows = checksOf(row), quiet = rows.filter(isQuiet), shown = rows.filter((at) => !isQuiet(at));
  if (!rows.length) return section("Window checks", element("p", {}, "No check: nothing to judge was recorded."));
  const sources = Array.from(new Set(shown.map((at) => sourceText(check("limit", at)))));
  const names = quiet.map((at) => checkTitle(nameOf(at)).toLowerCase()).join(", ");
  return section("Window checks", [
    element("ul", { class: "checks" }, shown.map((at) => checkItem(at, row, sources))),
    quiet.length ? element("p", { class: "note" }, "Not recorded and not required: " + names + ".") : null,
    shown.length ? sourceList(sources) : null,
  ]);
}

function checkItem(at, row, sources) {
  const of = check("limit", at), verdict = verdictOf(at), words = recordedWords(at, row), cause = check("cause", at);
  const standsOut = verdict === OUT || (verdict === NOT_RECORDED && limit("required", of));
  return element("li", { class: standsOut ? "check stands-out" : "check" },
    element("span", { class: "what" }, checkTitle(nameOf(at)), limit("required", of) ? null : element("small", {}, " not required")),
    element("span", { class: "verdict-word" }, verdict),
    element("span", { class: "value" }, valueText(at, words)),
    element("span", { class: "window" }, said(windowOf(at)), sourceMark(of, sources)),
    bar(at),
    cause !== null && cause !== words ? element("span", { class: "cause" }, said(cause)) : null);
}

// ---- words -----------------------------------------------------------------------------------------------------------

function valueText(at, words) {
  const value = check("value", at), of = check("limit", at), unit = limit("unit", of);
  if (value === null) return words === null ? NOT_RECORDED : said(words);
  return besideLimits(value, limit("low", of), limit("high", of)) + (unit === null ? "" : " " + unit);
}

// What was recorded in words: as the table of joints has it, else as the check says it.
function recordedWords(at, row) {
  const name = nameOf(at), verdict = verdictOf(at);
  if (check("value", at) !== null) return null;
  if (fields.has(name) && typeof joint(name, row) === "string") return joint(name, row);
  return verdict === NOT_RECORDED ? null : check("cause", at);
}

function windowOf(at) {
  const of = check("limit", at), interval = windowText(limit("low", of), limit("high", of), limit("unit", of));
  return interval === null ? WINDOWS_OF_WORDS.get(nameOf(at)) || "no window" : "window " + interval;
}

function sourceMark(of, sources) {
  return sources.length > 1 ? element("sup", {}, String(sources.indexOf(sourceText(of)) + 1)) : null;
}

function sourceText(of) {
  const source = limit("source", of) || "source not recorded", status = limit("status", of);
  return status === null ? source : source + " (" + status + ")";
}

// What all sources begin with is the procedure: it is said once.
function sourceList(sources) {
  const shared = sources.reduce(sharedStart), cut = sources.length > 1 ? shared.lastIndexOf(": ") + 2 : 0, from = cut > 2 ? cut : 0;
  return [
    element("p", { class: "note" }, "Where the windows come from", from ? [": ", said(shared.slice(0, from - 2))] : null, "."),
    element("ol", { class: "sources" }, sources.map((text) => element("li", {}, said(text.slice(from))))),
  ];
}

function sharedStart(a, b) {
  let end = 0;
  while (end < a.length && a[end] === b[end]) end++;
  return a.slice(0, end);
}

// ---- the bar ---------------------------------------------------------------------------------------------------------

const SVG = "http://www.w3.org/2000/svg", WIDTH = 400, MIDDLE = 10;

// Where the value lies: the window is a trough between its limits, the value a needle. The scale shows the window
// in the middle half, so that a value outside is seen outside; one far off stands at the edge, with an arrow.
function bar(at) {
  const of = check("limit", at), value = check("value", at), low = limit("low", of), high = limit("high", of);
  if (value === null || (low === null && high === null)) return null;
  const scale = scaleOf(low, high), picture = document.createElementNS(SVG, "svg");
  picture.setAttribute("viewBox", "0 0 " + WIDTH + " 20");
  picture.setAttribute("class", "bar");
  picture.setAttribute("aria-hidden", "true");  // the words beside it say the same
  const from = low === null ? 0 : scale(low), to = high === null ? WIDTH : scale(high), x = Math.max(4, Math.min(WIDTH - 4, scale(value)));
  draw(picture, "line", { x1: 0, x2: WIDTH, y1: MIDDLE, y2: MIDDLE, class: "scale" });
  draw(picture, "rect", { x: from, width: Math.max(2, to - from), y: MIDDLE - 5, height: 10, class: "trough" });
  [[low, from], [high, to]].forEach(([edge, place]) => {
    if (edge !== null) draw(picture, "line", { x1: place, x2: place, y1: MIDDLE - 8, y2: MIDDLE + 8, class: "edge" });
  });
  const point = Math.abs(scale(value) - x) > 0.5 ? arrow(x, scale(value) > x) : (x - 4) + ",1 " + (x + 4) + ",1 " + x + "," + MIDDLE;
  draw(picture, "polygon", { points: point, class: verdictOf(at) === OUT ? "needle out" : "needle" });
  return picture;
}

function scaleOf(low, high) {
  if (low !== null && high !== null && high > low) return (value) => WIDTH / 4 + (value - low) / (high - low) * WIDTH / 2;
  const edge = low === null ? high : low, span = Math.abs(edge) || 1;  // one side is open: twice the limit fills the bar
  return (value) => WIDTH / 2 + (value - edge) / span * WIDTH / 2;
}

function arrow(x, isRight) {
  const tip = isRight ? x + 4 : x - 4, foot = isRight ? x - 6 : x + 6;
  return foot + "," + (MIDDLE - 6) + " " + foot + "," + (MIDDLE + 6) + " " + tip + "," + MIDDLE;
}

function draw(picture, tag, attributes) {
  const made = document.createElementNS(SVG, tag);
  Object.entries(attributes).forEach(([name, value]) => made.setAttribute(name, value));
  picture.appendChild(made);
}

// ---- quantities that no check judges ---------------------------------------------------------------------------------

export function otherQuantities(row) {
  const judged = new Set(checksOf(row).map(nameOf));
  const names = Object.keys(record.quantities).filter((name) => !judged.has(name)).map((name) => record.quantities[name]);
  const rest = names.concat("pressure_kind", "interfacial_pressure_mpa").filter((column) => joint(column, row) !== null);
  return rest.length ? section("Other quantities", pairs(rest.map((column) => fieldPair(column, row)))) : null;
}

// A column's title and its value with the unit. Lengths in metres are shown in the unit of the route.
export function fieldPair(column, row) {
  const { title, unit } = fields.get(column), value = joint(column, row);
  if (value === null) return [title, null];
  if (unit === "m") return [title, lengthText(value, 2)];
  return [title, typeof value === "number" ? figure(value) + (unit ? " " + unit : "") : String(value)];
}
