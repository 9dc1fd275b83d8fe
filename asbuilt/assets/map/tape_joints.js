// The lane of the joints, with the gaps between them.

import { spacing } from "./along.js";
import { isGapKnown, isMade, isOfTheDay } from "./days.js";
import { gapWords } from "./draw_line.js";
import { radiusOf } from "./draw_joints.js";
import { firstIndex, gap, joint, record } from "./record.js";
import { INK, PAPER, stampJoint } from "./signs.js";
import { isChosen, state } from "./state.js";
import { drawNeedle, hatch, roomFor, setFont, widthOf, write, writeOnPaper } from "./tape_paper.js";
import { RINGS, contentAt } from "./tape_record.js";
import { chainageAt, here, isWhole, middle, pixelAt } from "./tape_where.js";
import { countText, many } from "./text.js";

const LEAST_GAP = 7;    // pixels: a gap is seen at every scale
const LARGEST = 5;      // pixels, of a sign: with its ring it fills the upper part of the lane
const SIGN = 20;        // pixels: the upper part; below it a bar for the day's work, and the names
const BAR = 2.5;

export function isFaded(row) { return state.picked !== null && !state.picked.rows.has(row); }

// The joints between two pixels, those on one pixel as one: the worst of them, with the worst ring. What a search has
// left out weighs less than anything that it picked.
export function stampsBetween(left, right) {
  const { rows, at, weight, ring } = contentAt(here.line).joints, end = chainageAt(right), stamps = [];
  let last = null;
  for (let i = firstIndex(rows.length, (k) => at[k] >= chainageAt(left)); i < rows.length && at[i] <= end; i++) {
    const row = rows[i];
    if (!isMade(row)) continue;
    const faded = isFaded(row), depth = weight[i] + (faded ? 0 : 100), x = pixelAt(at[i]), column = Math.round(x);
    if (last === null || last.column !== column) {
      last = { row, x, column, depth, faded, ring: ring[i], today: isOfTheDay(row), among: 1 };
      stamps.push(last);
    } else joinTo(last, { row, x, depth, faded, ring: ring[i], today: isOfTheDay(row) });
  }
  return stamps;
}

function joinTo(stamp, one) {
  stamp.among++;
  stamp.today = stamp.today || one.today;
  if (one.depth > stamp.depth) Object.assign(stamp, { row: one.row, x: one.x, depth: one.depth, faded: one.faded });
  if (!one.faded || stamp.faded) stamp.ring = Math.max(stamp.ring, one.ring);
}

// Signs as large as on the map, as far as the lane holds them.
function signView() {
  const apart = spacing / here.perPixel;
  return { spacing: apart, radius: Math.max(2.5, Math.min(LARGEST, apart * 0.3)), zoomedIn: apart > 22 };
}

export function signRadius(view, row) { return Math.min(LARGEST, radiusOf(view, row)); }

function ringSeen(view, ring) { return RINGS[ring] === "arcs" && !view.zoomedIn ? "" : RINGS[ring]; }

export function drawBox(c, x, y, halfWidth, halfHeight) {
  [[PAPER, 4], [INK, 2]].forEach(([colour, width]) => {
    c.strokeStyle = colour;
    c.lineWidth = width;
    c.strokeRect(x - halfWidth, y - halfHeight, 2 * halfWidth, 2 * halfHeight);
  });
}

function drawSign(c, stamp, y, view) {
  c.globalAlpha = stamp.faded ? 0.22 : 1;
  stampJoint(c, stamp.row, signRadius(view, stamp.row), ringSeen(view, stamp.ring), stamp.x, y);
  c.globalAlpha = 1;
}

// ---- the lane --------------------------------------------------------------------------------------------------------

// Draws the lane and tells what a tap in it means. Gaps stand higher than the signs, so that those never hide one.
export function drawJointLane(c, lane) {
  const view = signView(), y = lane.top + SIGN / 2 + 0.5, stamps = stampsBetween(here.names - 30, here.width + 30), gaps = gapsInSight();
  gaps.forEach((one) => drawGap(c, one, lane.top, y));
  drawNeedle(c, middle(), lane);
  stamps.filter((one) => one.today).forEach((one) => underline(c, one.x, lane.top + SIGN + 0.5, view.spacing));
  stamps.slice().sort((a, b) => a.depth - b.depth).forEach((one) => drawSign(c, one, y, view));
  const boxed = chosenAmong(stamps), taken = [];
  if (boxed !== undefined) drawBox(c, boxed.x, y, 10.5, SIGN / 2 - 0.5);
  nameBoxed(c, boxed, lane, taken);
  gaps.forEach((one) => nameGap(c, one, lane, taken));
  if (view.zoomedIn) nameStamps(c, stamps, lane, taken);
  return [...gaps.map((one) => ({ ...one, choice: { kind: "gap", row: one.row } })),
    ...stamps.map((one) => ({ left: one.x - 5, right: one.x + 5, choice: { kind: "joint", row: one.row } }))];
}

// What is chosen may lie under a worse one on its pixel: the box stands there all the same.
function chosenAmong(stamps) {
  const { choice } = state;
  if (choice === null || choice.kind !== "joint" || joint("line", choice.row) !== here.line || !isMade(choice.row)) return undefined;
  const column = Math.round(pixelAt(joint("chainage_m", choice.row)));
  return stamps.find((one) => one.column === column);
}

// A day's work is a stretch of the line: a bar under its signs, from joint to joint.
function underline(c, x, top, apart) {
  const half = Math.max(2, Math.min(apart, 60) / 2 + 0.5);
  c.fillStyle = INK;
  c.fillRect(x - half, top, 2 * half, BAR);
}

function nameHeight(lane) { return (lane.top + SIGN + BAR + lane.foot) / 2 - 0.5; }

function setName(c, name, x, lane, taken) {
  const half = widthOf(c, name) / 2;
  if (!isWhole(x - half, x + half) || taken.some((other) => x - half < other.right + 6 && x + half > other.left - 6)) return;
  taken.push({ left: x - half, right: x + half });
  writeOnPaper(c, name, x - half, nameHeight(lane), lane.size - 4);
}

function nameBoxed(c, boxed, lane, taken) {
  setFont(c, lane.size, true);
  if (boxed !== undefined) setName(c, joint("joint_id", state.choice.row), boxed.x, lane, taken);
}

// Names of what stands out come first, then as many others as there is room for.
function nameStamps(c, stamps, lane, taken) {
  const standing = (one) => (one.depth >= 110 ? 1 : 0);
  setFont(c, lane.size, false);
  stamps.filter((one) => one.among === 1).sort((a, b) => standing(b) - standing(a) || a.x - b.x).forEach((one) => {
    c.globalAlpha = one.faded ? 0.6 : 1;
    setName(c, joint("joint_id", one.row), one.x, lane, taken);
    c.globalAlpha = 1;
  });
}

// ---- gaps ------------------------------------------------------------------------------------------------------------

// Gaps in sight, each as wide as it is or as an eye needs it; hatching that begins far outside would be slow.
function gapsInSight() {
  const from = chainageAt(here.names - 20), to = chainageAt(here.width + 20);
  return contentAt(here.line).gaps.filter((one) => one.to >= from && one.from <= to && isGapKnown(one.row)).map((one) => {
    const left = pixelAt(one.from), right = pixelAt(one.to), more = Math.max(0, LEAST_GAP - (right - left)) / 2;
    const hidden = Math.max(0, Math.floor((here.names - 20 - left) / 7)) * 7;
    return { row: one.row, toCome: one.toCome, left: left - more + hidden, right: Math.min(right + more, here.width + 20) };
  });
}

function drawGap(c, one, top, y) {
  hatch(c, one.left, one.right, top + 1, top + SIGN + 1, { toCome: one.toCome, colour: record.look.gap });
  if (isChosen("gap", one.row)) drawBox(c, (one.left + one.right) / 2, y, (one.right - one.left) / 2 + 2, SIGN / 2 - 0.5);
}

// How many records are missing, under the gap: in words where there is room, else the number alone.
function nameGap(c, one, lane, taken) {
  const missing = gap("missing_records", one.row);
  setFont(c, lane.size, true);
  for (const text of [gapWords(one.row), ...(missing ? [many(missing, "missing record"), countText(missing) + " missing"] : [])]) {
    const x = roomFor(c, text, Math.max(one.left, here.names), Math.min(one.right, here.width), taken);
    if (x !== null) return write(c, text, x, nameHeight(lane), record.look.gap);
  }
}
