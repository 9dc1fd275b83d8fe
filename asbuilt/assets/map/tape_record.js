// What lies along each line, ready for the tape: worked out once, in order, as plain arrays.

import { along, lineNames } from "./along.js";
import { dayOfJoint, isMade } from "./days.js";
import { count, firstIndex, gap, isInLine, isPlaced, joint, mark, record, standsOut, string_, testSection } from "./record.js";
import { ringOfJoint } from "./signs.js";
import { state } from "./state.js";
import { dayNamed, metresPerUnit, stated } from "./text.js";

// How heavily a joint weighs where several fall on one pixel: what stands out first, then the worst fusion.
const weights = new Map(record.look.worst_first.map((verdict, i, worst) => [verdict, worst.length - i]));
function weightOf(row) { return (standsOut(row) ? 10 : 0) + (weights.get(joint("fusion_verdict", row)) || 0); }

export const RINGS = ["", "arcs", "broken", "whole"];  // lightest first

function jointsOf(line) {
  const rows = Int32Array.from(along.get(line) || []);
  return {
    rows, at: Float64Array.from(rows, (row) => joint("chainage_m", row)), weight: Uint8Array.from(rows, weightOf),
    ring: Uint8Array.from(rows, (row) => Math.max(0, RINGS.indexOf(ringOfJoint(row)))),
  };
}

// Rows of a part that lie on a line, with their reach.
function reachesOf(read, part, line, more) {
  const rows = Array.from({ length: part ? part.rows : 0 }, (_, i) => i).filter((i) => read("line", i) === line);
  const found = rows.map((row) => {
    const a = read("from_chainage_m", row), b = read("to_chainage_m", row);
    return { row, from: Math.min(a, b), to: Math.max(a, b), isKnown: a !== null && b !== null, ...more(row) };
  });
  return found.filter((one) => one.isKnown).sort((a, b) => a.from - b.from || a.to - b.to);
}

// The first day on which a joint of each string was made. A string that is stated without joints is there always.
function firstDays() {
  const first = new Map();
  for (let row = 0; row < count.joints; row++) {
    const name = joint("string", row), day = dayOfJoint(row);
    if (name !== null && day !== null && isInLine(row)) first.set(name, Math.min(day, first.has(name) ? first.get(name) : day));
  }
  return first;
}

const firstDay = firstDays();

function stringOf(row) {
  const name = string_("string", row), isOnlyStated = !string_("joints_n", row);
  return { name, isBore: string_("method", row) === "bore", day: isOnlyStated ? -Infinity : firstDay.has(name) ? firstDay.get(name) : null };
}

function sectionOf(row) {
  return { section: testSection("section", row), result: testSection("result", row), day: dayNamed(testSection("tested_on", row) || "") };
}

// What has no day is in the whole record only, as joints without a time are.
export function isKnownBy(one) { return state.evening === null || (one.day !== null && one.day <= state.evening); }

// ---- stations --------------------------------------------------------------------------------------------------------

// Stretches within which stated values run on evenly: stated = (chainage - zero) / metresPerUnit. A mark that stands at
// a chainage equation carries the value that holds before it.
function regionsOf(line) {
  const known = [], regions = [];
  for (let i = 0; i < count.marks; i++) {
    const value = stated(mark("station", i)), chainage = mark("chainage_m", i);
    if (mark("line", i) === line && value !== null && chainage !== null) known.push({ chainage, zero: chainage - value * metresPerUnit });
  }
  known.sort((a, b) => a.chainage - b.chainage).forEach(({ chainage, zero }, i) => {
    const last = regions[regions.length - 1], from = i > 0 ? known[i - 1].chainage : chainage;
    // Labels have two decimals. The first mark stands alone until the next tells what holds after it.
    if (last !== undefined && Math.abs(last.zero - zero) < 0.015 * metresPerUnit) last.to = chainage;
    else regions.push({ from, to: chainage, zero });
  });
  return regions.filter((one) => one.to > one.from);
}

// ---- each line -------------------------------------------------------------------------------------------------------

function contentOf(line) {
  const joints = jointsOf(line);
  return {
    joints,
    ties: Array.from(joints.rows).filter((row) => joint("kind", row) === "tie-in"),
    gaps: reachesOf(gap, record.gaps, line, (row) => ({ toCome: gap("kind", row) === "not yet recorded" })),
    strings: reachesOf(string_, record.strings, line, stringOf),
    sections: reachesOf(testSection, record.test_sections, line, sectionOf),
    regions: regionsOf(line),
  };
}

const contents = new Map(lineNames.map((line) => [line, contentOf(line)]));

export function contentAt(line) { return contents.get(line); }

// Joints in line that have a record but no place; they belong to no line's axis.
export const placeless = Array.from({ length: count.joints }, (_, row) => row).filter((row) => isInLine(row) && !isPlaced(row));

// The joint already made that lies nearest to a chainage, or null.
export function nearestMade(line, chainage) {
  const { rows, at } = contents.get(line).joints;
  let after = firstIndex(rows.length, (i) => at[i] >= chainage), before = after - 1;
  while (before >= 0 && !isMade(rows[before])) before--;
  while (after < rows.length && !isMade(rows[after])) after++;
  if (before < 0 || after >= rows.length) return before >= 0 ? rows[before] : after < rows.length ? rows[after] : null;
  return chainage - at[before] <= at[after] - chainage ? rows[before] : rows[after];
}

// The joint `steps` made ones ahead of (or behind) a joint, or of a chainage where `row` is null; the last there is.
export function walkedFrom(line, row, chainage, steps) {
  const { rows, at } = contents.get(line).joints, by = Math.sign(steps);
  const first = firstIndex(rows.length, (k) => at[k] >= chainage - 0.005);
  // At a bare chainage the joint that stands there is no step away from itself.
  let i = row !== null ? rows.indexOf(row) : by > 0 ? firstIndex(rows.length, (k) => at[k] > chainage + 0.005) - 1 : first;
  let found = null;
  for (let left = Math.abs(steps); left > 0; left--) {
    do i += by; while (i >= 0 && i < rows.length && !isMade(rows[i]));
    if (i < 0 || i >= rows.length) break;
    found = rows[i];
  }
  return found;
}
