// How values are written, and how elements are made. Text reaches the page as text nodes only, never as markup.

const OUT = "out of window", NOT_RECORDED = "not recorded", CANNOT_TELL = "cannot tell", IN = "in window";

function element(tag, attributes) {
  const made = document.createElement(tag);
  Object.keys(attributes || {}).forEach(function (name) {
    const value = attributes[name];
    if (typeof value === "function") made.addEventListener(name, value);
    else if (value !== null) made.setAttribute(name, value);
  });
  for (let i = 2; i < arguments.length; i++) add(made, arguments[i]);
  return made;
}

function add(parent, child) {
  if (child === null || child === undefined) return;
  if (Array.isArray(child)) child.forEach(function (one) { add(parent, one); });
  else parent.appendChild(child instanceof Node ? child : document.createTextNode(String(child)));
}

// A value as somebody else wrote it. <bdi> keeps its writing direction from running into its neighbours.
function said(text) {
  return text === null ? null : element("bdi", {}, text);
}

// A <dl> of pairs; a pair without a value is left out.
function pairs(list) {
  const kept = list.filter(function (pair) { return pair[1] !== null && pair[1] !== undefined && pair[1] !== ""; });
  return element("dl", { class: "pairs" }, kept.map(function (pair) {
    const value = typeof pair[1] === "string" ? said(pair[1]) : pair[1];
    return element("div", {}, element("dt", {}, pair[0]), element("dd", {}, value));
  }));
}

function section(heading, children) {
  return element("section", {}, element("h3", {}, heading), children);
}

const unitName = record.title.length_unit.name, metresPerUnit = record.title.length_unit.metres;

// Lengths are carried in metres and shown in the unit of the route. Halves go up, as everywhere else in the
// hand-over: 23.65 is kept as a little less by the machine.
function lengthText(length, decimals) {
  if (length === null) return null;
  const power = Math.pow(10, decimals), value = length / metresPerUnit;
  return (Math.round(value * power + 1e-6) / power).toFixed(decimals) + " " + unitName;
}

function offsetText(value) {
  if (value === null) return null;
  return lengthText(Math.abs(value), 2) + (Math.abs(value) < 0.005 ? "" : value > 0 ? " R" : " L");
}

// Four figures are as many as a record carries; zeros at the end say nothing.
function figure(value, figures) {
  return String(Number(value.toPrecision(figures || 4)));
}

// A value beside its limit never rounds onto it where the verdict says it is beyond it.
function besideLimits(value, low, high) {
  const short = figure(value);
  const clash = [low, high].some(function (edge) { return edge !== null && edge !== value && figure(edge) === short; });
  return clash ? figure(value, 10) : short;
}

function windowText(low, high, unit) {
  const tail = unit === null ? "" : " " + unit;
  if (low === null && high === null) return null;
  if (low === null) return "at most " + figure(high) + tail;
  if (high === null) return "at least " + figure(low) + tail;
  return figure(low) + " to " + figure(high) + tail;
}

const MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
  "November", "December"];

// 2026-03-12T14:32:00+11:00 -> 12 March 2026 14:32 (UTC+11:00). Anything else stays as it was written.
function timeText(iso) {
  const parts = /^(\d{4})-(\d\d)-(\d\d)[T ](\d\d:\d\d)(?::\d\d(?:\.\d+)?)?(Z|[+-]\d\d:?\d\d)?$/.exec(iso || "");
  if (!parts) return iso;
  const zone = parts[5] ? " (UTC" + (parts[5] === "Z" ? "" : parts[5]) + ")" : "";
  return Number(parts[3]) + " " + MONTHS[Number(parts[2]) - 1] + " " + parts[1] + " " + parts[4] + zone;
}

function many(count, thing) {
  return count + " " + thing + (count === 1 ? "" : "s");
}

function range(low, high) {
  return low === high ? String(low) : low + " to " + high;
}

function capital(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

// "reasons" holds sentences. They are shown one to a line; a full stop inside a number or an id is no end.
function sentences(text) {
  const lines = (text || "").replace(/([.!?])\s+(?=[A-Z])/g, "$1\n").split("\n");
  return lines.filter(function (line) { return line.trim() !== ""; });
}

// Stations: labels jump at chainage equations, so a stated value is brought back to a chainage between two places
// whose label and chainage are both known. The label of the later one tells which side of an equation holds.
const stationLength = parseFloat(record.title.station_length) || 1000;  // in the unit of the route

function stated(label) {
  const parts = /^\s*(-?)(\d+)\+(\d+(?:\.\d+)?)\s*$/.exec(label || "");
  if (!parts || Number(parts[3]) >= stationLength) return null;
  const value = Number(parts[2]) * stationLength + Number(parts[3]);
  return parts[1] ? -value : value;
}

// "1+250", or a plain number in the unit of the stations.
function statedOf(text) {
  return /^\s*-?\d+(\.\d+)?\s*$/.test(text) ? Number(text) : stated(text);
}

function stationText(value) {
  const size = Math.round(Math.abs(value) * 100) / 100;  // rounded first, so that a carry goes into the stations
  const whole = Math.floor(size / stationLength);
  const digits = String(stationLength - 1).length + 3;
  const rest = (size - whole * stationLength).toFixed(2);
  return (value < 0 ? "-" : "") + whole + "+" + rest.padStart(digits, "0");
}
