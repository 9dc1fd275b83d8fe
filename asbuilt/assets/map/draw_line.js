// The line itself: its stroke, its gaps, its chainage marks, and what the owner put behind it.

import { count, gap, mark, record } from "./record.js";
import { isGapKnown } from "./days.js";
import { FAINT, INK, PAPER } from "./signs.js";
import { isChosen, state } from "./state.js";
import { middleOf, pathLength, strokePath, trace } from "./strokes.js";
import { lengthText, many, metresPerUnit, stated } from "./text.js";
import { boundsOf, gapPaths, isSeen, lines, markSpots, screenX, screenY, spotOn, worldPath } from "./world.js";

export function drawLines(c, view) {
  lines.forEach((line) => strokePath(c, view, line, PAPER, 6));
  lines.forEach((line) => strokePath(c, view, line, record.look.line, state.sun ? 3 : 2));
}

// ---- gaps ------------------------------------------------------------------------------------------------------------

export const SHORTEST_GAP = 16;  // pixels: a gap is seen at every zoom

// A gap that is shorter than an eye can see is drawn as a short band about its middle.
export function bandOf(view, g) {
  const path = gapPaths[g];
  if (pathLength(view, path) >= SHORTEST_GAP) return path;
  const at = middleOf(view, path), half = SHORTEST_GAP / 2, dx = at.dx * half / view.scale, dy = at.dy * half / view.scale;
  const x = (at.x + view.originX) / view.scale, y = (at.y + view.originY) / view.scale;
  return { xs: [x - dx, x + dx], ys: [y - dy, y + dy] };
}

// A band hatched across the line: a dashed stroke as wide as the band. What is still to come is hatched thinly.
function drawGap(c, view, g) {
  const band = bandOf(view, g), toCome = gap("kind", g) === "not yet recorded";
  if (isChosen("gap", g)) strokePath(c, view, band, INK, 22);
  strokePath(c, view, band, PAPER, 17);
  strokePath(c, view, band, toCome ? FAINT : record.look.gap, toCome ? 8 : 14, toCome ? [1.5, 7] : [3, 4]);
}

export function isGapSeen(view, g) {
  const path = gapPaths[g], at = middleOf(view, path);
  return isSeen(view, at.x, at.y, pathLength(view, path) / 2 + SHORTEST_GAP);
}

// Returns the gaps that were drawn.
export function drawGaps(c, view) {
  const seen = Array.from({ length: count.gaps }, (_, g) => g).filter((g) => isGapKnown(g) && isGapSeen(view, g));
  seen.forEach((g) => drawGap(c, view, g));
  return seen;
}

// Where the joints between two neighbours have a record but no place, no record is missing: say what is.
export function gapWords(g) {
  const missing = gap("missing_records", g), unplaced = gap("unplaced_here", g), words = [lengthText(gap("length_m", g), 1)];
  if (missing !== null && (missing > 0 || !unplaced)) words.push(many(missing, "missing record"));
  if (unplaced) words.push(many(unplaced, "joint") + " without a place");
  return words.filter((one) => one !== null).join(", ");
}

export function nameGaps(view, labels, seen) {
  seen.forEach((g) => {
    if (pathLength(view, gapPaths[g]) < 60) return;
    const at = middleOf(view, gapPaths[g]);
    labels.beside(gapWords(g), at.x, at.y, { nx: at.dy, ny: -at.dx, away: 16, bold: true, pushed: true, colour: record.look.gap });
  });
}

// ---- chainage marks --------------------------------------------------------------------------------------------------

function marksInOrder() {
  const list = [];
  for (let row = 0; row < count.marks; row++) {
    const at = spotOn(mark("line", row), mark("chainage_m", row)), label = mark("station", row) || "";
    if (isNaN(markSpots.xs[row]) || at === null) continue;
    list.push({ row, rank: mark("rank", row), dx: at.dx, dy: at.dy, stated: stated(label), text: label.replace(/\.0+$/, "") });
  }
  return list.sort((a, b) => b.rank - a.rank || a.row - b.row);  // ends and equations first
}

const marks = marksInOrder();

// The least round step (1, 2 or 5 times a power of ten of the stations' unit) that takes `pixels` on the screen.
export function roundStep(metresPerPixel, pixels) {
  const least = pixels * metresPerPixel / metresPerUnit, power = Math.pow(10, Math.floor(Math.log10(least)));
  return power * [1, 2, 5, 10].find((times) => power * times >= least);
}

function isMultiple(value, step) {
  return value !== null && Math.abs(value / step - Math.round(value / step)) < 1e-6;
}

// Marks stand to the right of the line, looking up-chainage; joints' names to its left. Ticks and labels thin out
// to round stations before they would touch, and fill in as the view comes closer.
export function drawMarks(c, view, labels) {
  const tickStep = roundStep(view.metresPerPixel, 10), labelStep = roundStep(view.metresPerPixel, 90);
  let named = 0;
  marks.forEach((one) => {
    const x = screenX(view, markSpots.xs[one.row]), y = screenY(view, markSpots.ys[one.row]), always = one.rank === 3;
    const hasName = always || isMultiple(one.stated, labelStep);
    if (!isSeen(view, x, y, 20) || !(hasName || isMultiple(one.stated, tickStep))) return;
    drawTick(c, x, y, one, view.radius + 1, hasName ? 14 : 8);
    const style = { nx: -one.dy, ny: one.dx, away: view.radius + 20, pushed: always, colour: record.look.line };
    if (hasName && labels.beside(one.text, x, y, style)) named++;
  });
  return named;
}

// From beside the line, so that a joint that stands at the mark is not crossed.
function drawTick(c, x, y, direction, from, length) {
  c.beginPath();
  c.moveTo(x - direction.dy * from, y + direction.dx * from);
  c.lineTo(x - direction.dy * (from + length), y + direction.dx * (from + length));
  c.strokeStyle = record.look.line;
  c.lineWidth = length > 10 ? 2 : 1.2;
  c.stroke();
}

// ---- what lies behind: quiet, and never mistaken for the record -----------------------------------------------------

const QUIET = "#7A7A7A", QUIET_FILL = "rgba(122, 122, 122, 0.10)";
const behind = record.context.flatMap((layer) => layer.shapes.map((shape) => {
  const paths = shape.paths.map(worldPath);
  return { kind: shape.kind, label: shape.label, paths, bounds: boundsOf(paths) };
}));

export function drawContext(c, view, map) {
  const frame = map.getBounds().pad(0.3);
  behind.filter((one) => frame.intersects(one.bounds)).forEach((one) => one.paths.forEach((path) => {
    if (one.kind === "point") return drawPoint(c, screenX(view, path.xs[0]), screenY(view, path.ys[0]));
    trace(c, view, path);
    if (one.kind === "area") { c.fillStyle = QUIET_FILL; c.fill(); }
    c.strokeStyle = QUIET;
    c.lineWidth = 1;
    c.stroke();
  }));
}

function drawPoint(c, x, y) {
  c.strokeStyle = QUIET;
  c.lineWidth = 1;
  c.strokeRect(x - 2.5, y - 2.5, 5, 5);
}

export function nameContext(view, labels) {
  if (!behind.length || view.crowded) return;
  behind.filter((one) => one.label).forEach((one) => {
    const at = middleOf(view, one.paths[0]);
    labels.set(one.label, at.x, at.y, { nx: 0, ny: -1, away: 4, colour: "#5A5A5A" });
  });
}
