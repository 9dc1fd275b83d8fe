// How values are written: lengths, offsets, figures, windows, times, stations. Text only, no elements.

import { record } from "./record.js";

export const unitName = record.title.length_unit.name;
export const metresPerUnit = record.title.length_unit.metres;

// Lengths are carried in metres and shown in the unit of the route. Halves go up, as everywhere else in the
// hand-over: 23.65 is kept as a little less by the machine.
export function lengthText(length, decimals) {
  if (length === null) return null;
  const power = Math.pow(10, decimals), value = length / metresPerUnit;
  return (Math.round(value * power + 1e-6) / power).toFixed(decimals) + " " + unitName;
}

export function offsetText(value) {
  if (value === null) return null;
  return lengthText(Math.abs(value), 2) + (Math.abs(value) < 0.005 ? "" : value > 0 ? " R" : " L");
}

export function latLonText(latitude, longitude) {
  return latitude.toFixed(7) + ", " + longitude.toFixed(7);
}

// Four figures are as many as a record carries; zeros at the end say nothing.
export function figure(value, figures) {
  return String(Number(value.toPrecision(figures || 4)));
}

// A value beside its limit never rounds onto it where the verdict says it is beyond it.
export function besideLimits(value, low, high) {
  const short = figure(value);
  const clash = [low, high].some((edge) => edge !== null && edge !== value && figure(edge) === short);
  return clash ? figure(value, 10) : short;
}

export function windowText(low, high, unit) {
  const tail = unit === null ? "" : " " + unit;
  if (low === null && high === null) return null;
  if (low === null) return "at most " + figure(high) + tail;
  if (high === null) return "at least " + figure(low) + tail;
  return figure(low) + " to " + figure(high) + tail;
}

// 12345 -> "12,345", as the sentences of the hand-over write counts.
export function countText(count) {
  return String(count).replace(/\B(?=(\d{3})+$)/g, ",");
}

export function many(count, thing) {
  return countText(count) + " " + thing + (count === 1 ? "" : "s");
}

export function range(low, high) {
  return low === high ? String(low) : low + " to " + high;
}

export function capital(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

// ---- times ---------------------------------------------------------------------------------------------------------

const MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
  "November", "December"];
const MINUTES_A_DAY = 1440;

// Days since 1970-01-01 on the clock of the route -> "12 March 2026".
export function dayText(day) {
  const date = new Date(day * 86400000);
  return date.getUTCDate() + " " + MONTHS[date.getUTCMonth()] + " " + date.getUTCFullYear();
}

export function dayOfMinute(minute) {
  return minute === null ? null : Math.floor(minute / MINUTES_A_DAY);
}

// Minutes since 1970-01-01 on the clock of the route -> "12 March 2026 14:32 (UTC+11:00)".
export function minuteText(minute, zone) {
  if (minute === null) return null;
  const rest = minute - dayOfMinute(minute) * MINUTES_A_DAY, two = (n) => String(n).padStart(2, "0");
  const tail = zone === null ? "" : " (UTC" + (zone === "Z" ? "" : zone) + ")";
  return dayText(dayOfMinute(minute)) + " " + two(Math.floor(rest / 60)) + ":" + two(rest % 60) + tail;
}

// "2026-03-12", "12 March 2026" or "12 Mar 2026" -> days since 1970-01-01; null for anything else. A date in figures
// only, day or month first, would be a guess.
export function dayNamed(text) {
  const iso = /^\s*(\d{4})-(\d\d?)-(\d\d?)\s*$/.exec(text), said = /^\s*(\d\d?)\s+([a-z]{3,})\.?\s+(\d{4})\s*$/i.exec(text);
  if (iso) return daysOf(Number(iso[1]), Number(iso[2]) - 1, Number(iso[3]));
  const month = said ? MONTHS.findIndex((name) => name.toLowerCase().startsWith(said[2].toLowerCase())) : -1;
  return month < 0 ? null : daysOf(Number(said[3]), month, Number(said[1]));
}

function daysOf(year, month, day) {
  const date = new Date(Date.UTC(year, month, day));
  return date.getUTCMonth() === month && date.getUTCDate() === day ? date.getTime() / 86400000 : null;
}

// ---- sentences -----------------------------------------------------------------------------------------------------

// "reasons" holds sentences. They are shown one to a line; a full stop inside a number or an id is no end, and none
// after the initial or the title of a name ("T. Plover", "Dr. Plover"), nor within quotes: what they hold is somebody
// else's. Rather two sentences in one line than one in two.
const NO_END = /(?:^|[\s.(-])(?:\p{Lu}|Dr|Mr|Mrs|Ms|Prof|Eng|Ing|St|No|no|Nos|nos|Nr|nr|approx|ca|incl|Fig|fig|Ref|ref|vs)\.$/u;
const QUOTED = /(?:^|[\s(:])'[^']*$/;

export function sentences(text) {
  const found = [];
  (text || "").replace(/([.!?])\s+(?=\p{Lu})/gu, "$1\n").split("\n").forEach((part) => {
    const last = found[found.length - 1];
    if (last !== undefined && (NO_END.test(last) || QUOTED.test(last))) found[found.length - 1] = last + " " + part;
    else found.push(part);
  });
  return found.filter((line) => line.trim() !== "");
}

// ---- stations ------------------------------------------------------------------------------------------------------

const stationLength = parseFloat(record.title.station_length) || 1000;  // in the unit of the route

export function stated(label) {
  const parts = /^\s*(-?)(\d+)\+(\d+(?:\.\d+)?)\s*$/.exec(label || "");
  if (!parts || Number(parts[3]) >= stationLength) return null;
  const value = Number(parts[2]) * stationLength + Number(parts[3]);
  return parts[1] ? -value : value;
}

// "1+250", or a plain number in the unit of the stations.
export function statedOf(text) {
  return /^\s*-?\d+(\.\d+)?\s*$/.test(text) ? Number(text) : stated(text);
}

export function stationText(value) {
  const size = Math.round(Math.abs(value) * 100) / 100;  // rounded first, so that a carry goes into the stations
  const whole = Math.floor(size / stationLength);
  const digits = String(stationLength - 1).length + 3;
  const rest = (size - whole * stationLength).toFixed(2);
  return (value < 0 && size > 0 ? "-" : "") + whole + "+" + rest.padStart(digits, "0");
}
