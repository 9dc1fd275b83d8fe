// The words in the lane of the axis: none covers another, none is cut, and the needle runs through none.

import { INK } from "./signs.js";
import { record } from "./record.js";
import { stroke, upright, widthOf, write } from "./tape_paper.js";
import { here, isWhole, middle } from "./tape_where.js";

const NEEDLE = 9;  // pixels that words keep from the needle, whose head is the widest of it

export function widestLabel(c, texts) { return Math.max(0, ...texts.map((text) => widthOf(c, text))); }

function isFree(left, width, taken) {
  const isCrossed = left < middle() + NEEDLE && left + width > middle() - NEEDLE;
  return !isCrossed && isWhole(left, left + width) && !taken.some((one) => left < one.right + 8 && one.left < left + width + 8);
}

function put(c, text, left, lane) { write(c, text, left, lane.top + lane.size / 2, record.look.line); }

// Sets a text at the first of some left edges that is free; tells whether there was one.
function setAt(c, text, lefts, lane, taken) {
  const width = widthOf(c, text), left = lefts(width).find((one) => isFree(one, width, taken));
  if (left === undefined) return false;
  taken.push({ left, right: left + width });
  put(c, text, left, lane);
  return true;
}

// A label stands to the right of its stroke, else to the left; at the needle just beside it. Else it is left out.
export function label(c, text, x, lane, taken) {
  const isAtNeedle = Math.abs(x - middle()) < NEEDLE;
  setAt(c, text, (width) => (isAtNeedle ? [middle() + NEEDLE, middle() - NEEDLE - width] : [x + 4, x - 4 - width]), lane, taken);
}

// ---- chainage equations ----------------------------------------------------------------------------------------------

// Two strokes through the lane, and what is stated before and after them.
export function drawEquation(c, { x, back, ahead }, lane, taken) {
  if (x < here.names || x > here.width) return;
  const away = Math.abs(x - middle()) < NEEDLE ? NEEDLE + 3 : 7, text = back + " = " + ahead;
  if (!setAt(c, text, (width) => [x + away, x - away - width], lane, taken)) setAroundNeedle(c, { x, away, back, ahead }, lane, taken);
  [-2, 2].forEach((by) => upright(c, x + by, lane.top + 1, lane.foot, INK, 1.5));
  taken.push({ left: x - 4, right: x });
}

// With the needle in the way of the words: what holds before stands at the left of the strokes and what holds after at
// their right; the part that the needle would run through beyond it; else all of it beyond.
function waysAround(c, { x, away, back, ahead }) {
  const before = back + " =", whole = back + " = " + ahead, left = x < middle();
  const beyond = (text) => [text, left ? middle() + NEEDLE : middle() - NEEDLE - widthOf(c, text)];
  const near = [[before, x - away - widthOf(c, before)], [ahead, x + away]];
  return [near, left ? [near[0], beyond(ahead)] : [beyond(before), near[1]], [beyond(whole)]];
}

// A rule leads to what stands away from the strokes.
function setAroundNeedle(c, equation, lane, taken) {
  const { x, away } = equation, isFar = Math.abs(x - middle()) > widthOf(c, equation.back + " = " + equation.ahead) + away + NEEDLE;
  const ends = ([text, left]) => ({ left, right: left + widthOf(c, text) });
  const parts = isFar ? undefined : waysAround(c, equation).find((way) => way.every(([text, left]) => isFree(left, widthOf(c, text), taken)));
  if (parts === undefined) return;
  const y = lane.top + lane.size / 2, reaches = parts.map(ends);
  reaches.forEach(({ left, right }) => {
    if (left > x + away) stroke(c, [[x + 2, y], [left - 3, y]], INK, 1);
    if (right < x - away) stroke(c, [[right + 3, y], [x - 2, y]], INK, 1);
  });
  parts.forEach(([text, left]) => put(c, text, left, lane));
  taken.push({ left: Math.min(x, ...reaches.map((one) => one.left)), right: Math.max(x, ...reaches.map((one) => one.right)) });
}
