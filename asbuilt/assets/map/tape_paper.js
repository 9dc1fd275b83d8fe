// Ink on the tape's paper: canvases of their right size, text, hatching, and the look of a reach.

import { FAINT, INK, PAPER } from "./signs.js";
import { state } from "./state.js";

// The tape's paper, the hair lines between lanes, and what is written quietly: black on white for the sun.
export const tone = {
  get paper() { return state.sun ? PAPER : "#F4F2EC"; },
  get hair() { return state.sun ? INK : "#D2D0CA"; },
  get quiet() { return state.sun ? INK : "#4D4D4D"; },
};
const FACE = "px system-ui, -apple-system, 'Segoe UI', Roboto, 'Liberation Sans', sans-serif";

// An empty canvas of a size in pixels of the page; returns what draws on it.
export function sized(canvas, width, height) {
  const ratio = window.devicePixelRatio || 1, c = canvas.getContext("2d");
  if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
    canvas.style.height = height + "px";
  }
  c.setTransform(ratio, 0, 0, ratio, 0, 0);
  c.clearRect(0, 0, width, height);
  return c;
}

export function textSize(width) { return width < 700 || state.sun ? 16 : 14; }

export function setFont(c, size, bold) { c.font = (bold ? "600 " : "") + size + FACE; }

export function widthOf(c, text) { return c.measureText(text).width; }

// Text with its left edge at x and its middle at y, on a rim of paper: a line behind it does not run into it.
export function write(c, text, x, y, colour) {
  c.textBaseline = "middle";
  c.lineWidth = 4;
  c.lineJoin = "round";
  c.strokeStyle = tone.paper;
  c.strokeText(text, x, y + 0.5);
  put(c, text, x, y, colour);
}

function put(c, text, x, y, colour) {
  c.textBaseline = "middle";
  c.fillStyle = colour || INK;
  c.fillText(text, x, y + 0.5);
}

// Text on a slip of paper, where more than a line lies behind it.
export function writeOnPaper(c, text, x, y, height) {
  c.fillStyle = tone.paper;
  c.fillRect(x - 4, y - height / 2, widthOf(c, text) + 8, height);
  put(c, text, x, y);
}

// The needle, through one lane after the other: over bands, under signs and words.
export function drawNeedle(c, x, lane) {
  upright(c, x, lane.top, lane.foot, tone.paper, 4);
  upright(c, x, lane.top, lane.foot, INK, 1.5);
}

export function stroke(c, points, colour, width) {
  c.beginPath();
  points.forEach(([x, y], i) => { if (i) c.lineTo(x, y); else c.moveTo(x, y); });
  c.strokeStyle = colour;
  c.lineWidth = width;
  c.stroke();
}

export function upright(c, x, top, foot, colour, width) { stroke(c, [[x, top], [x, foot]], colour, width); }

// A band hatched across, as gaps are on the map. What is still to come is hatched thinly.
export function hatch(c, left, right, top, foot, look) {
  c.setLineDash(look.toCome ? [1.5, 7] : [3, 4]);
  stroke(c, [[left, (top + foot) / 2], [right, (top + foot) / 2]], look.toCome ? FAINT : look.colour, foot - top);
  c.setLineDash([]);
}

// Where a text stands that belongs to a reach: in the middle of it, or at one of its ends where something else stands
// there already; null where there is no room. What is set is added to `taken`.
export function roomFor(c, text, left, right, taken) {
  const width = widthOf(c, text), free = (x) => taken.every((one) => x > one.right + 6 || x + width < one.left - 6);
  if (right - left < width + 14) return null;
  const x = [(left + right - width) / 2, left + 8, right - 8 - width].find(free);
  if (x === undefined) return null;
  taken.push({ left: x, right: x + width });
  return x;
}
