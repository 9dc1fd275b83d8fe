// What lies where along a line: the order of the joints, neighbours, gaps, stations.

import { count, firstIndex, gap, isInLine, isPlaced, joint, mark, numbers, record } from "./record.js";
import { metresPerUnit, stated } from "./text.js";

export const lineNames = record.lines.map((line) => line.line);

const chainages = numbers(joint, "chainage_m", count.joints);

// The joints of each line in the order in which they lie.
function jointsAlong() {
  const along = new Map(lineNames.map((name) => [name, []]));
  for (let i = 0; i < count.joints; i++) {
    if (!isPlaced(i) || !isInLine(i) || isNaN(chainages[i])) continue;
    const line = joint("line", i);
    if (!along.has(line)) along.set(line, []);
    along.get(line).push(i);
  }
  along.forEach((rows) => rows.sort((a, b) => chainages[a] - chainages[b]));
  return along;
}

export const along = jointsAlong();

// The place of each joint in the order of its line; -1 where it has none.
const rank = new Int32Array(count.joints).fill(-1);
along.forEach((rows) => rows.forEach((row, i) => { rank[row] = i; }));

function chainageOf(row) { return chainages[row]; }

// The last joint before a chainage and the first after it (rows, or null).
export function neighboursAt(line, chainage) {
  const rows = along.get(line) || [], next = firstIndex(rows.length, (i) => chainageOf(rows[i]) > chainage);
  return { before: next > 0 ? rows[next - 1] : null, after: next < rows.length ? rows[next] : null };
}

// Two joints may stand at one chainage, so a joint's neighbours are read from its place in the order.
export function neighboursOf(row) {
  const rows = along.get(joint("line", row)) || [], at = rank[row];
  if (at < 0) return neighboursAt(joint("line", row), chainageOf(row));
  return { before: at > 0 ? rows[at - 1] : null, after: at + 1 < rows.length ? rows[at + 1] : null };
}

// The joint of a line that lies nearest to a chainage, or null.
export function jointNear(line, chainage) {
  const { before, after } = neighboursAt(line, chainage);
  if (before === null || after === null) return before === null ? after : before;
  return chainage - chainageOf(before) <= chainageOf(after) - chainage ? before : after;
}

export function gapAt(line, chainage) {
  for (let g = 0; g < count.gaps; g++) {
    if (gap("line", g) === line && gap("from_chainage_m", g) <= chainage && chainage <= gap("to_chainage_m", g)) return g;
  }
  return null;
}

// The usual distance between neighbours decides how large a joint is drawn and how close the map goes.
function usualSpacing() {
  const steps = [];
  along.forEach((rows) => {
    for (let i = 1; i < rows.length; i++) steps.push(chainageOf(rows[i]) - chainageOf(rows[i - 1]));
  });
  const middle = Float64Array.from(steps).sort()[steps.length >> 1];  // as plain numbers: sorted without a function
  return middle > 0.5 ? middle : 12;  // metres; 12 where hardly a joint is placed
}

export const spacing = usualSpacing();

// The chainages at which a line begins and ends.
export function endsOf(name) {
  const at = record.lines.find((line) => line.line === name).chainage_m;
  return { from: at[0], to: at[at.length - 1] };
}

// ---- stations: labels jump at chainage equations ------------------------------------------------------------------

// A stated value is brought back to a chainage between two marks whose label and chainage are both known. The label
// of the later one tells which side of an equation holds.
function knownLabels(name) {
  const known = [];
  for (let i = 0; i < count.marks; i++) {
    if (mark("line", i) === name) known.push({ chainage: mark("chainage_m", i), stated: stated(mark("station", i)) });
  }
  return known.filter((one) => one.stated !== null && one.chainage !== null).sort((a, b) => a.chainage - b.chainage);
}

const labels = new Map(lineNames.map((name) => [name, knownLabels(name)]));

// The chainages on one line that carry a stated value: none in a hole between labels, two in an overlap. Both values
// of an equation lead to it.
export function chainagesOf(name, value) {
  const known = labels.get(name), found = [];
  for (let i = 1; i < known.length; i++) {
    const chainage = known[i].chainage - (known[i].stated - value) * metresPerUnit;
    const isHere = chainage >= known[i - 1].chainage - 0.006 && chainage <= known[i].chainage + 0.006;
    const isTold = found.length > 0 && chainage - found[found.length - 1] < 0.013;  // at a mark, from both of its sides
    if (isHere && !isTold) found.push(chainage);
  }
  return found;
}

// The stated value at a chainage, in the unit of the stations; null beyond the ends of the line.
export function statedAt(name, chainage) {
  const known = labels.get(name);
  if (!known.length || chainage < known[0].chainage - 0.006 || chainage > known[known.length - 1].chainage + 0.006) return null;
  const next = Math.max(1, firstIndex(known.length, (i) => known[i].chainage >= chainage - 0.006));
  const later = known[Math.min(next, known.length - 1)];
  return later.stated - (later.chainage - chainage) / metresPerUnit;
}
