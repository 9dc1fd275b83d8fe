// The joints on the map, and what is drawn about the one that is chosen.

import { count, isInLine, isPlaced, joint, opinion, opinionsOf, record, standsOut } from "./record.js";
import { isMade, isOfTheDay } from "./days.js";
import { INK, PAPER, lookOf, ringOfJoint, stampJoint } from "./signs.js";
import { state } from "./state.js";
import { stationText } from "./text.js";
import { fixSpots, isSeen, jointSpots, metresPerPixel, opinionSpots, screenX, screenY, spotOn } from "./world.js";

const standing = Uint8Array.from({ length: count.joints }, (_, row) => (standsOut(row) ? 1 : 0));
const placed = Uint8Array.from({ length: count.joints }, (_, row) => (isPlaced(row) ? 1 : 0));

// Worst last, so that nothing lies on top of what needs attention. Joints that are not in the line come first.
function drawingOrder() {
  const worst = record.look.worst_first, depth = new Float64Array(count.joints), rows = [];
  for (let row = 0; row < count.joints; row++) {
    if (!placed[row]) continue;
    rows.push(row);
    depth[row] = isInLine(row) ? worst.length - worst.indexOf(joint("fusion_verdict", row)) + 10 * standing[row] : -1;
  }
  return Int32Array.from(rows).sort((a, b) => depth[a] - depth[b] || a - b);
}

export const order = drawingOrder();
const firstStanding = order.length - order.reduce((sum, row) => sum + standing[row], 0);  // they are the last in order
const standingCount = standing.reduce((sum, one) => sum + one, 0);

// What stands out is drawn larger, unless so much of it stands close together that it would cover all the rest.
function prominence(view) {
  const apart = view.spacing * order.length / Math.max(1, standingCount);
  return Math.max(2.5, Math.min(4.2, apart * 0.5));
}

export function radiusOf(view, row) {
  const r = standing[row] ? Math.max(prominence(view), view.radius) : view.radius;
  return state.sun ? r * 1.25 : r;
}

function isFaded(row) { return state.picked !== null && !state.picked.rows.has(row); }

// Two arcs would only be noise where joints stand close.
function ringSeen(view, row) {
  const ring = ringOfJoint(row);
  return ring === "arcs" && !view.zoomedIn ? "" : ring;
}

function eachSeen(view, margin, visit, from = 0, to = order.length) {
  for (let k = from; k < to; k++) {
    const row = order[k], x = screenX(view, jointSpots.xs[row]), y = screenY(view, jointSpots.ys[row]);
    if (isSeen(view, x, y, margin) && isMade(row)) visit(row, x, y);
  }
}

// A sleeve under the joints of the day that is shown, edged in ink: a day's work is a stretch of the line, and has to be
// found also where the whole route is in sight. Its edges run along the line: no ring round a joint looks like it.
export function drawDay(c, view) {
  if (state.evening === null) return;
  const half = Math.max(3, view.spacing / 2 + 0.5);  // from joint to joint
  const radius = Math.max(prominence(view), view.radius) * (state.sun ? 1.25 : 1) + 8;
  c.beginPath();  // one path for all: where two overlap, neither an edge nor a darker place is seen
  eachSeen(view, half + 40, (row, x, y) => {
    if (!isOfTheDay(row)) return;
    const at = spotOn(joint("line", row), joint("chainage_m", row)) || { dx: 1, dy: 0 };
    c.moveTo(x - half * at.dx, y - half * at.dy);
    c.lineTo(x + half * at.dx, y + half * at.dy);
  });
  c.lineCap = "round";
  [[2 * radius + 5, INK], [2 * radius, PAPER], [2 * radius, "rgba(17, 17, 17, 0.18)"]].forEach(([width, colour]) => {
    c.lineWidth = width;
    c.strokeStyle = colour;
    c.stroke();
  });
  c.lineCap = "butt";
}

// Draws the joints that do, or do not, stand out. Joints that fall on one pixel with the same sign are one stamp: a long
// route seen whole has many of them.
export function drawJoints(c, view, labels, prominent) {
  const drawn = { joints: 0, stamps: 0 }, last = { look: "", ring: "", faded: false, x: NaN, y: NaN };
  const visit = (row, x, y) => {
    drawn.joints++;
    const look = lookOf(row), ring = ringSeen(view, row), faded = isFaded(row);
    const isSame = look === last.look && ring === last.ring && faded === last.faded;
    if (isSame && Math.abs(x - last.x) < 0.6 && Math.abs(y - last.y) < 0.6) return;
    c.globalAlpha = faded ? 0.22 : 1;
    stampJoint(c, row, radiusOf(view, row), ring, x, y);
    if (!view.crowded || prominent) labels.keepClear(x, y, radiusOf(view, row));
    drawn.stamps++;
    Object.assign(last, { look, ring, faded, x, y });
  };
  if (prominent) eachSeen(view, 20, visit, firstStanding); else eachSeen(view, 20, visit, 0, firstStanding);
  c.globalAlpha = 1;
  return drawn;
}

// The side of the line on which the names of joints stand: left, looking up-chainage.
function leftOf(row) {
  const at = spotOn(joint("line", row), joint("chainage_m", row)) || { dx: 1, dy: 0 };
  return { nx: at.dy, ny: -at.dx };
}

export function nameJoints(view, labels) {
  if (!view.zoomedIn) return;
  eachSeen(view, 0, (row, x, y) => {
    const isChosen = state.choice !== null && state.choice.kind === "joint" && state.choice.row === row;
    if (!isInLine(row) || isChosen) return;
    labels.beside(joint("joint_id", row), x, y, { ...leftOf(row), away: radiusOf(view, row) + 11 });
  });
}

// ---- recorded fixes --------------------------------------------------------------------------------------------------

function tie(c, x, y, toX, toY, dash) {
  c.strokeStyle = INK;
  c.lineWidth = state.sun ? 2 : 1;
  c.setLineDash(dash);
  c.beginPath();
  c.moveTo(x, y);
  c.lineTo(toX, toY);
  c.stroke();
  c.setLineDash([]);
}

function drawCross(c, x, y, half) {
  c.strokeStyle = INK;
  c.lineWidth = 2;
  c.beginPath();
  c.moveTo(x - half, y - half);
  c.lineTo(x + half, y + half);
  c.moveTo(x - half, y + half);
  c.lineTo(x + half, y - half);
  c.stroke();
}

// Every fix in sight, tied to its joint by a thin line.
export function drawFixes(c, view) {
  if (!state.fixes) return;
  eachSeen(view, 60, (row, x, y) => {
    const fx = screenX(view, fixSpots.xs[row]), fy = screenY(view, fixSpots.ys[row]);
    if (isNaN(fx) || isFaded(row)) return;
    tie(c, x, y, fx, fy, []);
    if (view.spacing > 6) drawCross(c, fx, fy, 3);
  });
}

// ---- what is chosen --------------------------------------------------------------------------------------------------

export function drawRadius(c, view, row) {
  const radius = joint("radius95_m", row);
  if (!placed[row] || radius === null) return;
  const perPixel = metresPerPixel(joint("latitude", row), Math.log2(view.scale));
  c.beginPath();
  c.arc(screenX(view, jointSpots.xs[row]), screenY(view, jointSpots.ys[row]), radius / perPixel, 0, 2 * Math.PI);
  c.fillStyle = "rgba(17, 17, 17, 0.06)";
  c.fill();
  c.strokeStyle = INK;
  c.lineWidth = 1.2;
  c.setLineDash([6, 4]);
  c.stroke();
  c.setLineDash([]);
}

export function drawChosenJoint(c, view, row, labels) {
  if (!placed[row]) return;
  const x = screenX(view, jointSpots.xs[row]), y = screenY(view, jointSpots.ys[row]), r = radiusOf(view, row);
  drawOtherPlaces(c, view, row, x, y, labels);
  stampJoint(c, row, r, ringSeen(view, row), x, y);
  drawCorners(c, x, y, 1.25 * r + 9);
  labels.beside(joint("joint_id", row), x, y, { ...leftOf(row), away: 1.25 * r + 22, bold: true, pushed: true });
}

// Its own fix and the other places that it could have, each tied to it.
function drawOtherPlaces(c, view, row, x, y, labels) {
  const fx = screenX(view, fixSpots.xs[row]), fy = screenY(view, fixSpots.ys[row]);
  if (Math.hypot(fx - x, fy - y) >= 3) {
    tie(c, x, y, fx, fy, []);
    drawCross(c, fx, fy, 5);
    labels.set("fix", fx, fy, { nx: 1, ny: 0, away: 10 });
  }
  opinionsOf(row).forEach((p) => {
    const px = screenX(view, opinionSpots.xs[p]), py = screenY(view, opinionSpots.ys[p]);
    if (!(Math.hypot(px - x, py - y) >= 3)) return;
    tie(c, x, y, px, py, [2, 3]);
    c.lineWidth = 2;
    c.beginPath();
    c.arc(px, py, 5, 0, 2 * Math.PI);
    c.stroke();
    labels.set(opinion("method", p), px, py, { nx: 1, ny: 0, away: 10 });
  });
}

// Four corners round the thing that the card is about.
function drawCorners(c, x, y, half) {
  const arm = 6;
  [[PAPER, 5], [INK, state.sun ? 3.5 : 2.5]].forEach(([colour, width]) => {
    c.strokeStyle = colour;
    c.lineWidth = width;
    [[-1, -1], [1, -1], [1, 1], [-1, 1]].forEach(([sx, sy]) => {
      const cx = x + sx * half, cy = y + sy * half;
      c.beginPath();
      c.moveTo(cx - sx * arm, cy);
      c.lineTo(cx, cy);
      c.lineTo(cx, cy - sy * arm);
      c.stroke();
    });
  });
}

export function drawChosenStation(c, view, choice, labels) {
  const at = spotOn(choice.line, choice.chainage);
  if (at === null) return;
  const x = screenX(view, at.x), y = screenY(view, at.y);
  drawCorners(c, x, y, 12);
  drawCross(c, x, y, 5);
  labels.set(stationText(choice.stated), x, y, { nx: at.dy, ny: -at.dx, away: 20, bold: true });
}
