// The whole line across the width. Fusion rises from the base line, the worst of each pixel column in its colour and
// height; position hangs below it in ink; gaps are hatched across. A bracket holds what the tape shows.

import { endsOf } from "./along.js";
import { isGapKnown, isMade, isOfTheDay } from "./days.js";
import { CANNOT_TELL, IN, NOT_RECORDED, OUT, joint, record } from "./record.js";
import { INK, PAPER } from "./signs.js";
import { state } from "./state.js";
import { isFaded } from "./tape_joints.js";
import { hatch, sized, stroke, tone, upright } from "./tape_paper.js";
import { contentAt } from "./tape_record.js";
import { here, sight } from "./tape_where.js";

export const OVERVIEW = 44;             // pixels high: a finger's target
const BASE = 29, EDGE = 6;              // the base line from the top, and room at both ends
const HEIGHTS = { [IN]: 8, [CANNOT_TELL]: 13, [NOT_RECORDED]: 19, [OUT]: 25 };
const DEPTHS = { [CANNOT_TELL]: 2, [NOT_RECORDED]: 6, [OUT]: 10 };

export function overviewPixel(chainage, width) {
  const { from, to } = endsOf(here.line);
  return EDGE + (to > from ? (chainage - from) / (to - from) : 0) * (width - 2 * EDGE);
}

export function overviewChainage(x, width) {
  const { from, to } = endsOf(here.line), part = (x - EDGE) / (width - 2 * EDGE);
  return from + Math.max(0, Math.min(1, part)) * (to - from);
}

// ---- columns ---------------------------------------------------------------------------------------------------------

function emptyColumns(width) {
  return { fusion: new Array(width).fill(null), position: new Array(width).fill(null), today: new Uint8Array(width) };
}

function isWorse(verdict, than) {
  const order = record.look.worst_first;
  return than === null || order.indexOf(verdict) < order.indexOf(than);
}

// The worst of every column, of the joints that a search has picked out and of the others. Each joint reaches half way
// to its neighbours, and at least so far that an eye sees it.
function columnsOf(width) {
  const { rows, at } = contentAt(here.line).joints, kept = emptyColumns(width), faded = emptyColumns(width);
  const reach = rows.length < width ? 2 : 1;
  for (let i = 0; i < rows.length; i++) {
    if (!isMade(rows[i])) continue;
    const columns = isFaded(rows[i]) ? faded : kept, middle = Math.round(overviewPixel(at[i], width));
    for (let x = Math.max(0, middle - reach); x <= Math.min(width - 1, middle + reach); x++) addTo(columns, x, rows[i]);
  }
  return { kept, faded };
}

function addTo(columns, x, row) {
  const fusion = joint("fusion_verdict", row) || NOT_RECORDED, position = joint("position_verdict", row);
  if (isWorse(fusion, columns.fusion[x])) columns.fusion[x] = fusion;
  if (position !== null && isWorse(position, columns.position[x])) columns.position[x] = position;
  if (isOfTheDay(row)) columns.today[x] = 1;
}

// ---- drawing ---------------------------------------------------------------------------------------------------------

// A cap, and edges where the verdict changes, in the outline's colour: they keep a pale column in sight.
function drawColumns(c, columns) {
  const { fusion } = columns;
  fusion.forEach((verdict, x) => {
    if (verdict === null) return;
    const look = record.look.fusion[verdict] || record.look.fusion[NOT_RECORDED], height = HEIGHTS[verdict] || 5;
    c.fillStyle = fusion[x - 1] !== verdict || fusion[x + 1] !== verdict ? look.line : look.fill;
    c.fillRect(x, BASE - height, 1, height);
    c.fillStyle = look.line;
    c.fillRect(x, BASE - height, 1, 2);
  });
  c.fillStyle = INK;
  columns.position.forEach((verdict, x) => {
    // Not recorded is broken here as its ring is on the map.
    if (DEPTHS[verdict] && !(verdict === NOT_RECORDED && x % 3 === 2)) c.fillRect(x, BASE + 2, 1, DEPTHS[verdict]);
  });
  columns.today.forEach((is, x) => { if (is) c.fillRect(x, OVERVIEW - 3, 1, 3); });
}

// Gaps lie under the columns and reach above and below all of them: neither can hide the other.
function drawGaps(c, width) {
  contentAt(here.line).gaps.filter((one) => isGapKnown(one.row)).forEach((one) => {
    const left = overviewPixel(one.from, width), right = Math.max(left + 3, overviewPixel(one.to, width));
    hatch(c, left, right, 1, BASE + 13, { toCome: one.toCome, colour: record.look.gap });
  });
}

function drawWhole(c, width) {
  const { kept, faded } = columnsOf(width);
  c.fillStyle = tone.paper;
  c.fillRect(0, 0, width, OVERVIEW);
  drawGaps(c, width);
  c.globalAlpha = 0.22;
  drawColumns(c, faded);
  c.globalAlpha = 1;
  drawColumns(c, kept);
  stroke(c, [[EDGE, BASE + 1], [width - EDGE, BASE + 1]], record.look.line, 2);
}

// ---- kept until something changes ------------------------------------------------------------------------------------

const kept = { canvas: document.createElement("canvas"), of: [] };

function wholeAt(width) {
  const of = [here.line, width, window.devicePixelRatio, state.evening, state.picked, state.sun];
  if (of.some((one, i) => one !== kept.of[i])) {
    drawWhole(sized(kept.canvas, width, OVERVIEW), width);
    kept.of = of;
  }
  return kept.canvas;
}

// Two arms from the top and two from the foot; never narrower than an eye can find.
function drawBracket(c, width) {
  const seen = sight(), a = overviewPixel(seen.from, width), b = overviewPixel(seen.to, width), more = Math.max(0, 10 - (b - a)) / 2;
  [[a - more, 5], [b + more, -5]].forEach(([x, arm]) => [[PAPER, 6], [INK, 2.5]].forEach(([colour, thick]) => {
    stroke(c, [[x + arm, 1.5], [x, 1.5], [x, OVERVIEW - 1.5], [x + arm, OVERVIEW - 1.5]], colour, thick);
  }));
  const needle = overviewPixel(here.chainage, width);
  if (b - a > 30) upright(c, needle, 0, OVERVIEW, INK, 1);
}

export function drawOverview(canvas) {
  const width = Math.floor(canvas.getBoundingClientRect().width);
  if (width < 40) return;
  const whole = wholeAt(width), c = sized(canvas, width, OVERVIEW);
  c.drawImage(whole, 0, 0, width, OVERVIEW);
  drawBracket(c, width);
}
