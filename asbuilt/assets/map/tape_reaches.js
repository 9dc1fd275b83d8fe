// The lanes of what reaches from one chainage to another: strings and bores with their tie-ins, and test sections.

import { isMade } from "./days.js";
import { joint, record } from "./record.js";
import { INK } from "./signs.js";
import { drawNeedle, roomFor, setFont, stroke, tone, upright, widthOf, write, writeOnPaper } from "./tape_paper.js";
import { contentAt, isKnownBy } from "./tape_record.js";
import { here, middle, pixelAt } from "./tape_where.js";
import { dayText } from "./text.js";

function inSight(list) {
  return list.map((one) => ({ ...one, left: pixelAt(one.from), right: pixelAt(one.to) }))
    .filter((one) => one.right >= here.names - 4 && one.left <= here.width + 4 && isKnownBy(one))
    .map((one) => ({ ...one, left: Math.max(one.left, here.names - 6), right: Math.min(one.right, here.width + 6) }));
}

// Writes the fullest of some texts that there is room for; tells whether there was any.
function nameReach(c, one, texts, lane, taken) {
  setFont(c, lane.size, false);
  const left = Math.max(one.left, here.names), right = Math.min(one.right, here.width);
  for (const text of texts) {
    const x = roomFor(c, text, left, right, taken);
    if (x === null) continue;
    writeOnPaper(c, text, x, (lane.top + lane.foot) / 2, lane.foot - lane.top - 5);
    return true;
  }
  return false;
}

// The name of a reach that is too short to hold it stands beside it, where nothing else lies: no other reach, no tie-in,
// no name, no needle.
function nameBeside(c, one, lane, others, taken) {
  const width = widthOf(c, one.name), needle = { left: middle() - 2, right: middle() + 2 };
  const free = (left) => left >= here.names + 2 && left + width <= here.width - 2
    && [...others, ...taken, needle].every((other) => other === one || left > other.right + 3 || left + width < other.left - 3);
  const left = [one.right + 8, one.left - 8 - width].find(free);
  if (left === undefined) return;
  taken.push({ left, right: left + width });
  write(c, one.name, left, (lane.top + lane.foot) / 2);
}

// ---- strings, bores, tie-ins -----------------------------------------------------------------------------------------

export function drawStrings(c, lane) {
  const has = contentAt(here.line), reaches = inSight(has.strings), taken = [];
  reaches.forEach((one) => { if (one.isBore) drawBore(c, one, lane); else drawBar(c, one, lane); });
  drawNeedle(c, middle(), lane);
  const ties = tiesInSight(has), bars = ties.map(({ x }) => ({ left: x - 2, right: x + 2 }));
  const short = reaches.sort((a, b) => a.right - a.left - b.right + b.left).filter((one) => !nameReach(c, one, [one.name], lane, taken));
  short.forEach((one) => nameBeside(c, one, lane, [...reaches, ...bars], taken));
  return ties.map((one) => drawTie(c, one, lane));
}

function tiesInSight(has) {
  const ties = has.ties.filter(isMade).map((row) => ({ row, x: pixelAt(joint("chainage_m", row)) }));
  return ties.filter((one) => one.x >= here.names - 10 && one.x <= here.width + 10);
}

function drawBar(c, one, lane) {
  c.strokeStyle = record.look.line;
  c.lineWidth = 1;
  c.strokeRect(one.left, lane.top + 1.5, one.right - one.left, lane.foot - lane.top - 4);
}

// Pipe in the ground without a trench: two lines, as a hole has two sides.
function drawBore(c, one, lane) {
  const y = (lane.top + lane.foot) / 2;
  [-3, 3].forEach((by) => stroke(c, [[one.left, y + by], [one.right, y + by]], record.look.line, 2));
}

function drawTie(c, { row, x }, lane) {
  upright(c, x, lane.top, lane.foot - 1, tone.paper, 7);
  upright(c, x, lane.top, lane.foot - 1, INK, 3);
  return { left: x - 3, right: x + 3, choice: { kind: "joint", row } };
}

// ---- test sections ---------------------------------------------------------------------------------------------------

// Tests of one reach are told together, in the order of their days: a second test does not hide the first.
function byReach(sections) {
  const reaches = new Map();
  sections.forEach((one) => {
    const key = [one.from, one.to, one.section].join("|");
    if (!reaches.has(key)) reaches.set(key, { ...one, results: [], dated: [] });
    const result = one.result || "no result";
    reaches.get(key).results.push(result);
    reaches.get(key).dated.push(one.day === null ? result : result + " " + dayText(one.day));
  });
  return Array.from(reaches.values());
}

// Written like a dimension: from end stroke to end stroke, the record's own words between them.
export function drawSections(c, lane) {
  const y = (lane.top + lane.foot) / 2, reaches = byReach(inSight(contentAt(here.line).sections)), taken = [];
  reaches.forEach((one) => {
    stroke(c, [[one.left, y], [one.right, y]], record.look.line, 1.5);
    [one.left, one.right].forEach((x) => upright(c, x, lane.top + 3, lane.foot - 3, record.look.line, 2));
  });
  drawNeedle(c, middle(), lane);
  reaches.forEach((one) => {
    const name = one.section === null ? "" : one.section + ": ", short = one.section === null ? [] : [one.section];
    nameReach(c, one, [name + one.dated.join(", then "), name + one.results.join(", then "), ...short], lane, taken);
  });
  return [];
}
