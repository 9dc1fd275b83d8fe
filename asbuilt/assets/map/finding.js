// What a typed text may mean: joints, stations, positions, people, machines, days, verdicts. No elements here.

import { chainagesOf, lineNames, statedAt } from "./along.js";
import { dayOfJoint } from "./days.js";
import { positionNamed, wayFrom } from "./earth.js";
import { count, isInLine, joint, record } from "./record.js";
import { capital, dayNamed, dayText, statedOf } from "./text.js";
import { fromWgs84, lines, nearestOnLine, spotOn, toPlace, toWorld } from "./world.js";

// Joints whose id or number on the paper holds the text: the whole id first, for that is unique; then the whole number,
// then those that begin with it, then the others.
function jointsNamed(wanted) {
  const found = [];
  for (let row = 0; row < count.joints; row++) {
    const id = joint("joint_id", row).toLowerCase(), paper = (joint("joint", row) || "").toLowerCase(), at = id.indexOf(wanted);
    if (at < 0 && !paper.includes(wanted)) continue;
    found.push({ kind: "joint", row, rank: id === wanted ? 0 : paper === wanted ? 1 : at === 0 ? 2 : 3 });
  }
  return found.sort((a, b) => a.rank - b.rank || a.row - b.row);
}

function stationsNamed(text) {
  const value = statedOf(text);
  if (value === null) return [];
  return lineNames.flatMap((line) => chainagesOf(line, value).map((chainage) => ({ kind: "station", line, chainage, stated: value })));
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
  const day = dayNamed(wanted);
  return WAYS.flatMap((way) => valuesOf(way).filter(({ value, label }) =>
    (day !== null ? way.of === dayOfJoint && value === day : wanted.length > 1 && String(label).toLowerCase().includes(wanted))).map((found) => ({ kind: "set", way, value: found.value, count: found.count })));
}

// Everything that a text may mean, likeliest first.
export function meaningsOf(text) {
  const wanted = text.trim().toLowerCase();
  if (wanted === "") return [];
  const places = placesNamed(text), joints = jointsNamed(wanted), stations = stationsNamed(text), sets = setsNamed(wanted);
  const exact = joints.filter((one) => one.rank < 2), others = joints.filter((one) => one.rank > 1);
  // Whoever writes a plus sign asks for a station; a bare number is more often part of a joint's.
  const rest = text.includes("+") ? [...stations, ...others] : [...others, ...stations];
  return [...places, ...exact, ...sets, ...rest];
}
