// The line as of any evening: what was made by then, and the counts of it. Days are those of the route's clock.

import { along, endsOf, lineNames } from "./along.js";
import { count, gap, isInLine, isPlaced, joint, jointById, record } from "./record.js";
import { state } from "./state.js";
import { dayOfMinute } from "./text.js";

const dayOf = Array.from({ length: count.joints }, (_, row) => dayOfMinute(joint("fused_minute", row)));

// The days on which a joint of the line was made, in order; and how many joints carry no time.
export const days = Array.from(new Set(dayOf.filter((day, row) => day !== null && isInLine(row)))).sort((a, b) => a - b);
export const withoutTime = dayOf.filter((day, row) => day === null && isInLine(row)).length;

// Whether a joint had been made by the evening that is shown. One without a time is in the whole record only.
export function isMade(row) {
  return state.evening === null || (dayOf[row] !== null && dayOf[row] <= state.evening);
}

// Whether it was made on the very day that is shown.
export function isOfTheDay(row) {
  return state.evening !== null && dayOf[row] === state.evening;
}

// What is said of an evening on whose day no joint of the line was made; null where one was. Before the first day and
// after the last the record may not reach: there it can only be said that it holds none.
export function idleText() {
  const { evening } = state;
  if (evening === null || days.includes(evening)) return null;
  return evening > days[0] && evening < days[days.length - 1] ? "no joint was made on this day" : "the record holds no joint of this day";
}

export function dayOfJoint(row) { return dayOf[row]; }

// A gap is known once there is a record on both of its sides; the ends of the line are always there.
export function isGapKnown(g) {
  return [gap("from_joint", g), gap("to_joint", g)].every((id) => id === null || !jointById.has(id) || isMade(jointById.get(id)));
}

// ---- length covered --------------------------------------------------------------------------------------------------

// How much of each metre of a gap has no record: all of it, or of a bracket that holds joints only a share.
const emptyOf = Array.from({ length: count.gaps }, (_, g) => {
  const pipes = (gap("missing_records", g) || 0) + (gap("unplaced_here", g) || 0) + 1, within = gap("joints_within", g) || 0;
  return within > 0 ? pipes / (pipes + within) : 1;
});

// The gaps of a line as they lie; they do not overlap.
function gapsAlong(line) {
  const found = Array.from({ length: count.gaps }, (_, g) => g).filter((g) => gap("line", g) === line).map((g) => {
    const a = gap("from_chainage_m", g), b = gap("to_chainage_m", g);
    return { low: Math.min(a, b), high: Math.max(a, b), empty: emptyOf[g] };
  });
  return found.sort((a, b) => a.low - b.low);
}

// Stretches of a line from joint to joint (null: its end), with the length of each that has a record, metres.
function stretchesOf(line) {
  const rows = along.get(line), gaps = gapsAlong(line), { from, to } = endsOf(line), found = [];
  const stops = [from, ...rows.map((row) => Math.max(from, Math.min(to, joint("chainage_m", row)))), to];
  let first = 0;  // the first gap that does not end before this stretch
  for (let i = 0; rows.length && i + 1 < stops.length; i++) {
    while (first < gaps.length && gaps[first].high <= stops[i]) first++;
    let covered = stops[i + 1] - stops[i];
    for (let g = first; g < gaps.length && gaps[g].low < stops[i + 1]; g++) {
      covered -= Math.max(0, Math.min(stops[i + 1], gaps[g].high) - Math.max(stops[i], gaps[g].low)) * gaps[g].empty;
    }
    found.push({ a: i > 0 ? rows[i - 1] : null, b: i < rows.length ? rows[i] : null, covered });
  }
  return found;
}

let known = null;  // worked out when a day is first asked for: the whole record's figures stand in the page already

function stretches() {
  if (known === null) known = lineNames.flatMap(stretchesOf);
  return known;
}

const whole = lineNames.reduce((sum, line) => sum + endsOf(line).to - endsOf(line).from, 0);

// ---- counts ----------------------------------------------------------------------------------------------------------

function tally(rows, name) {
  const counts = {};
  record.look.worst_first.forEach((verdict) => { counts[verdict] = 0; });
  rows.forEach((row) => { counts[joint(name, row)] = (counts[joint(name, row)] || 0) + 1; });
  return counts;
}

const inLine = Array.from({ length: count.joints }, (_, row) => row).filter(isInLine);

// Everything that the head of the page counts, for the evening that is shown. Lengths in metres.
export function counts() {
  const rows = inLine.filter(isMade), gaps = Array.from({ length: count.gaps }, (_, g) => g)
    .filter((g) => gap("kind", g) !== "not yet recorded" && isGapKnown(g));
  const made = (row) => row === null || isMade(row);
  return {
    joints: rows.length, fusion: tally(rows, "fusion_verdict"), position: tally(rows, "position_verdict"), gaps: gaps.length,
    missing: gaps.reduce((sum, g) => sum + (gap("missing_records", g) || 0), 0),
    unplaced: rows.filter((row) => !isPlaced(row)).length, length: whole,
    covered: stretches().reduce((sum, one) => sum + (made(one.a) && made(one.b) ? one.covered : 0), 0),
  };
}

// What was done on the day that is shown: rows of its joints, and the length that they newly cover, metres.
export function ofTheDay() {
  const rows = inLine.filter(isOfTheDay), isNew = new Set(rows), made = (row) => row === null || isMade(row);
  const length = stretches().reduce((sum, one) => sum + (made(one.a) && made(one.b) && (isNew.has(one.a) || isNew.has(one.b)) ? one.covered : 0), 0);
  return { rows, length };
}
