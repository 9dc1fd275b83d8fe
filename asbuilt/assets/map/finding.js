// What a typed text may mean: joints, stations, positions, findings, crews, people, machines, days, verdicts. No elements
// here.

import { chainagesOf, endsOf, lineNames, statedAt } from "./along.js";
import { dayOfJoint } from "./days.js";
import { positionNamed, wayFrom } from "./earth.js";
import { count, finding, isInLine, joint, record } from "./record.js";
import { capital, dayNamed, dayText, metresPerUnit, stated, statedOf, stationText } from "./text.js";
import { fromWgs84, lines, nearestOnLine, spotOn, toPlace, toWorld } from "./world.js";

// What is left of an id without case, signs, and zeros in front of a number: "C-097" and "c 97" are one.
const PART = /\p{Nd}+|[\p{L}\p{Nl}\p{No}]+/gu;

function keyOf(text) {
  const parts = text.toLowerCase().match(PART) || [];
  return parts.map((part) => (/^\p{Nd}+$/u.test(part) ? part.replace(/^0+/, "") || "0" : part)).join(" ");
}

function namesOf(row) { return [joint("joint_id", row), joint("joint", row) || joint("joint_id", row)]; }

const named = { plain: null, keys: null };  // of each joint its id and its number on the paper; made when first asked for

function namesOfAll() {
  if (named.plain !== null) return named;
  const names = Array.from({ length: count.joints }, (_, row) => namesOf(row));
  named.plain = names.map((pair) => pair.map((name) => name.toLowerCase()));
  named.keys = names.map((pair) => pair.map(keyOf));
  return named;
}

// Joints that a text may name, by the rule of `asbuilt find` (find/names.py): the whole id, the whole number on the
// paper, either of them written otherwise, a part of either, a part written otherwise; of parts those first that the id
// begins with. What is written otherwise counts only where nothing is so written. The map offers all that fit, in order.
// A "joint" in front is a word for what is sought, unless an id itself begins so.
function jointsNamed(text) {
  const whole = text.trim().replace(/\s+/g, " ").toLowerCase(), bare = whole.replace(/^joint /, "");
  const found = bare === whole ? [] : fitting(whole).filter(({ rank }) => rank < FIRST_PART);
  return found.length ? found : fitting(bare);
}

const FIRST_PART = 4;  // the ranks before it are of whole names

function fitting(wanted) {
  const key = keyOf(wanted), found = [];
  if (key === "") return found;
  const { plain, keys } = namesOfAll(), hasPart = plain.some((pair) => pair.some((name) => name.includes(wanted)));
  for (let row = 0; row < count.joints; row++) {
    const rank = rankOf(plain[row], wanted, 0, true), other = rankOf(keys[row], key, 2, !hasPart), least = Math.min(rank, other);
    if (least < Infinity) found.push({ kind: "joint", row, rank: least });
  }
  return found.sort((a, b) => a.rank - b.rank || a.row - b.row);
}

// How well the names of a joint fit: `whole` for the id, one more for the number, and from 4 for parts of either.
function rankOf([id, number], wanted, whole, partsCount) {
  if (id === wanted) return whole;
  if (number === wanted) return whole + 1;
  if (!partsCount || !(id.includes(wanted) || number.includes(wanted))) return Infinity;
  return (id.startsWith(wanted) ? FIRST_PART : FIRST_PART + 1) + whole;
}

const ASKS_STATION = /^\s*(?:station|sta\.?)\s+/i, ASKS_CHAINAGE = /^\s*(?:(?:chainage|ch\.?)\s+)?([-+]?\d+(?:\.\d+)?)\s*(m|km|ft)\s*$/i;
const UNITS = { m: 1, km: 1000, ft: metresPerUnit === 1 ? 0.3048 : metresPerUnit };

// "1+250", "station 1+250" or a bare number is what stands on the paper; "1250 m" is a chainage, before equations.
function stationsNamed(text) {
  const length = ASKS_CHAINAGE.exec(text), value = statedOf(text.replace(ASKS_STATION, ""));
  if (length) return lineNames.flatMap((line) => stationAt(line, Number(length[1]) * UNITS[length[2].toLowerCase()]));
  if (value === null) return [];
  return lineNames.flatMap((line) => chainagesOf(line, value).map((chainage) => ({ kind: "station", line, chainage, stated: value })));
}

function stationAt(line, chainage) {
  const { from, to } = endsOf(line), stated = statedAt(line, chainage);
  return stated === null || chainage < from || chainage > to ? [] : [{ kind: "station", line, chainage, stated }];
}

function findingsNamed(wanted) {
  if (wanted.length < 3) return [];
  return Array.from({ length: record.findings.rows }, (_, row) => row)
    .filter((row) => (finding("finding_id", row) || "").toLowerCase().includes(wanted)).map((row) => ({ kind: "finding", row }));
}

// A position leads to the place on the line that is nearest to it.
function placesNamed(text) {
  const given = positionNamed(text);
  if (given === null || !lines.length) return [];
  const spot = toWorld(given[0], given[1]), near = nearestOnLine(spot.x, spot.y), at = toPlace(spotOn(near.line, near.chainage));
  const away = wayFrom(given, fromWgs84(at.lat, at.lng)).distance;
  return [{ kind: "station", line: near.line, chainage: near.chainage, stated: statedAt(near.line, near.chainage), given: text.trim(), away }];
}

// ---- sets of joints --------------------------------------------------------------------------------------------------

// The ways to pick out a set of joints: what it is called, and the value that each joint has.
export const WAYS = [
  { name: "Fusion", says: (value) => "fusion " + value, of: (row) => joint("fusion_verdict", row) },
  { name: "Position", says: (value) => "position " + value, of: (row) => joint("position_verdict", row) },
  { name: "Crew", says: (value) => "crew " + value, of: (row) => joint("crew", row) },
  { name: "Operator", says: (value) => "operator " + value, of: (row) => joint("operator", row) },
  { name: "Machine", says: (value) => "machine " + value, of: (row) => joint("machine", row) },
  { name: "Day", says: (value) => "made on " + dayText(value), of: dayOfJoint, label: dayText },
];

// The values of a way with their counts, in order: verdicts worst first, days as they came, the rest by name.
export function valuesOf(way) {
  const counts = new Map(), worst = record.look.worst_first;
  for (let row = 0; row < count.joints; row++) {
    const value = isInLine(row) ? way.of(row) : null;
    if (value !== null) counts.set(value, (counts.get(value) || 0) + 1);
  }
  const place = (value) => (worst.includes(value) ? worst.indexOf(value) : value);
  return Array.from(counts, ([value, n]) => ({ value, count: n, label: way.label ? way.label(value) : value }))
    .sort((a, b) => (place(a.value) < place(b.value) ? -1 : 1));
}

// The joints that have all of the chosen values: [{way, value}, ...] -> {title, rows}.
export function picked(chosen) {
  const rows = new Set();
  for (let row = 0; row < count.joints; row++) {
    if (isInLine(row) && chosen.every(({ way, value }) => way.of(row) === value)) rows.add(row);
  }
  return { title: capital(chosen.map(({ way, value }) => way.says(value)).join(", ")), rows };
}

function setsNamed(wanted) {
  const day = dayNamed(wanted), key = keyOf(wanted), isName = /\p{L}{2}/u.test(key);  // "Crew B" is crew_b
  const fits = (way, { value, label }) => {
    if (day !== null) return way.of === dayOfJoint && value === day;
    return wanted.length > 1 && (String(label).toLowerCase().includes(wanted) || (isName && keyOf(String(label)).includes(key)));
  };
  return WAYS.flatMap((way) => valuesOf(way).filter((one) => fits(way, one)).map(({ value, count: n }) => ({ kind: "set", way, value, count: n })));
}

// Everything that a text may mean, likeliest first.
export function meaningsOf(text) {
  const wanted = text.trim().toLowerCase();
  if (wanted === "") return [];
  const places = placesNamed(text), joints = jointsNamed(text), stations = stationsNamed(text), sets = setsNamed(wanted);
  const exact = joints.filter((one) => one.rank < 4), others = joints.filter((one) => one.rank > 3);
  // Whoever writes a plus sign asks for a station; a bare number is more often part of a joint's.
  const rest = text.includes("+") ? [...stations, ...others] : [...others, ...stations];
  return [...places, ...exact, ...findingsNamed(wanted), ...sets, ...rest];
}

// ---- what to write where nothing fits ----------------------------------------------------------------------------------

const LIKE_TWO_NUMBERS = /^[-+NSEW\s]*\d[\d.,]*[°º'′’"″”\sNSEW,;:+-]+\d[\d\s.,;:°º'′’"″”NSEW+-]*$/i;

// What is wrong with a text that nothing fits, and what to write: {wrong, write}.
export function refusalOf(text) {
  const day = dayNamed(text), plain = text.trim();
  if (day !== null) return { wrong: "No joint of the line was made on " + dayText(day) + ".", write: "" };
  if (stated(plain.replace(ASKS_STATION, "")) !== null) {
    return { wrong: "No line has that station: " + lineNames.map(reachText).join("; ") + ".", write: "Write a station of these." };
  }
  if (ASKS_CHAINAGE.test(plain)) return { wrong: "No line is that long.", write: "Write a shorter chainage." };
  if (LIKE_TWO_NUMBERS.test(plain)) {
    return { wrong: "That is no latitude and longitude in degrees.", write: "Write -42.85229, 149.22748, or 42.85229 S 149.22748 E, latitude first." };
  }
  return { wrong: "", write: "Write a joint's id or a part of it, a station, a latitude and longitude, a finding, a crew, a person, a machine"
    + " or a day. A day is written 2026-03-12 or 12 March 2026." };
}

// From and to as they are written; where the labels jump between the two, not every station is there.
function reachText(line) {
  const { from, to } = endsOf(line), low = statedAt(line, from), high = statedAt(line, to);
  if (low === null || high === null) return line;
  const jumps = Math.abs((high - low) * metresPerUnit - (to - from)) > 0.02;
  return line + " has " + stationText(low) + " to " + stationText(high) + (jumps ? ", with a jump at a chainage equation" : "");
}
