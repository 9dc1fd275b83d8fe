// The signs: fusion is a shape and its colour; position is a ring in ink round it, so that the two never compete;
// how the place is known is the heart of the shape.

import { CANNOT_TELL, NOT_RECORDED, OUT, count, isInLine, joint, record } from "./record.js";
import { state } from "./state.js";

export const INK = "#111111", PAPER = "#FFFFFF", FAINT = "#6B6B6B";
const RINGS = { [OUT]: "whole", [NOT_RECORDED]: "broken", [CANNOT_TELL]: "arcs" };

// How a place is known: a shot was taken on the pipe, a fix says where the machine stood, or pipe lengths alone.
export const SHOT = "survey", INFERRED = "tally";

export function ringOf(verdict) { return RINGS[verdict]; }

// Strokes are heavier where the page is read in the sun.
function heavy(width) { return state.sun ? width + 1 : width; }

const OUTLINES = {
  disc(c, r) { c.arc(0, 0, r, 0, 2 * Math.PI); },
  diamond(c, r) { corners(c, [[0, -1.25 * r], [1.25 * r, 0], [0, 1.25 * r], [-1.25 * r, 0]]); },
  triangle(c, r) { corners(c, [[0, -1.2 * r], [1.15 * r, 0.85 * r], [-1.15 * r, 0.85 * r]]); },
  square(c, r) { c.rect(-0.95 * r, -0.95 * r, 1.9 * r, 1.9 * r); },
  bar(c, r) { c.rect(-1.2 * r, -0.5 * r, 2.4 * r, r); },
};

function corners(c, list) {
  list.forEach(([x, y], i) => { if (i) c.lineTo(x, y); else c.moveTo(x, y); });
  c.closePath();
}

function fusionLook(verdict) { return record.look.fusion[verdict] || record.look.fusion[NOT_RECORDED]; }

// A place that pipe lengths alone tell has an empty heart; one that a shot was taken of has a point in it.
export function drawShape(c, verdict, r, placedBy) {
  const look = fusionLook(verdict);
  c.beginPath();
  OUTLINES[look.shape](c, r);
  c.fillStyle = look.fill;
  c.fill();
  c.strokeStyle = state.sun ? INK : look.line;
  c.lineWidth = heavy(r > 4 ? 1.5 : 1);
  c.stroke();
  if (placedBy === INFERRED && r > 3) dot(c, 0.55 * r, PAPER, look.line);
  if (placedBy === SHOT && r > 3) dot(c, 0.3 * r, INK, null);
}

function dot(c, r, fillStyle, strokeStyle) {
  c.beginPath();
  c.arc(0, 0, r, 0, 2 * Math.PI);
  c.fillStyle = fillStyle;
  c.fill();
  if (strokeStyle === null) return;
  c.strokeStyle = strokeStyle;
  c.lineWidth = 1;
  c.stroke();
}

export function drawRing(c, kind, r) {
  const out = 1.25 * r + (r < 6 ? 2.5 : 3.5);
  c.strokeStyle = INK;
  c.lineWidth = heavy(kind === "arcs" || r < 4 ? 1.2 : 2);
  if (kind === "whole") arcs(c, out, [[0, 2]]);
  if (kind === "broken") arcs(c, out, [[0.08, 0.42], [0.58, 0.92], [1.08, 1.42], [1.58, 1.92]]);
  if (kind === "arcs") arcs(c, out, [[-0.18, 0.18], [0.82, 1.18]]);
}

function arcs(c, r, parts) {
  parts.forEach(([from, to]) => {
    c.beginPath();
    c.arc(0, 0, r, from * Math.PI, to * Math.PI);
    c.stroke();
  });
}

// Cut out, or a trial: an empty circle with a stroke through it, whatever its verdict was.
export function drawOutOfLine(c, r) {
  c.strokeStyle = FAINT;
  c.lineWidth = heavy(1.2);
  arcs(c, r, [[0, 2]]);
  c.beginPath();
  c.moveTo(-r, r);
  c.lineTo(r, -r);
  c.stroke();
}

// ---- stamps: drawn once for each kind and size and copied from then on, which is what makes many joints quick --------

const stamps = new Map();

function stampNamed(name, r, reach, draw) {
  const ratio = state.sharpness || window.devicePixelRatio || 1, key = [name, r.toFixed(2), ratio, state.sun].join("|");
  if (!stamps.has(key)) {
    const half = Math.ceil(reach), image = document.createElement("canvas");
    image.width = image.height = Math.ceil(2 * half * ratio);
    const c = image.getContext("2d");
    c.setTransform(ratio, 0, 0, ratio, half * ratio, half * ratio);
    draw(c);
    stamps.set(key, { image, half });
  }
  return stamps.get(key);
}

// What a joint looks like, as a short text that is equal where two joints look the same; and the parts of it.
const looks = Array.from({ length: count.joints }, (_, row) => {
  const fusion = joint("fusion_verdict", row) || NOT_RECORDED, placedBy = joint("placed_by", row);
  const heart = placedBy === INFERRED || placedBy === SHOT ? placedBy : "";
  return isInLine(row) ? fusion + "|" + heart : "out of line";
});
const rings = Array.from({ length: count.joints }, (_, row) => RINGS[joint("position_verdict", row)] || "");

export function lookOf(row) { return looks[row]; }
export function ringOfJoint(row) { return isInLine(row) ? rings[row] : ""; }

// Copies the sign of a joint to (x, y), radius r; `ring` is "" where none is to be seen.
export function stampJoint(c, row, r, ring, x, y) {
  const look = looks[row], [fusion, heart] = look.split("|");
  const size = look === "out of line" ? Math.max(4, r) : r;
  copy(c, stampNamed(look, size, 1.25 * size + 2, (s) => {
    if (look === "out of line") drawOutOfLine(s, size); else drawShape(s, fusion, size, heart);
  }), x, y);
  if (ring) copy(c, stampNamed("ring " + ring, r, 1.25 * r + 6, (s) => drawRing(s, ring, r)), x, y);
}

// On whole pixels of the screen: between them a stamp is blurred.
function copy(c, made, x, y) {
  const ratio = window.devicePixelRatio || 1, whole = (at) => Math.round((at - made.half) * ratio) / ratio;
  c.drawImage(made.image, whole(x), whole(y), 2 * made.half, 2 * made.half);
}

// ---- signs in a text -------------------------------------------------------------------------------------------------

const IN_TEXT = {
  fusion(c, verdict) { drawShape(c, verdict, 7); },
  position(c, verdict) {
    dot(c, 4, "#C9C9C9", null);
    if (ringOf(verdict)) drawRing(c, ringOf(verdict), 4.5);
  },
  placed(c, placedBy) { drawShape(c, "in window", 7, placedBy); },
  outOfLine(c) { drawOutOfLine(c, 7); },
  gap(c) {
    c.strokeStyle = record.look.gap;
    c.lineWidth = 14;
    c.setLineDash([3, 4]);
    c.beginPath();
    c.moveTo(-12, 0);
    c.lineTo(13, 0);
    c.stroke();
  },
};

// The sign of a verdict as the map draws it, for use in a text.
export function signFor(kind, value) {
  const size = 26, ratio = window.devicePixelRatio || 1, canvas = document.createElement("canvas");
  canvas.className = "drawn-sign";
  canvas.width = canvas.height = size * ratio;
  canvas.setAttribute("aria-hidden", "true");
  const c = canvas.getContext("2d");
  c.setTransform(ratio, 0, 0, ratio, size * ratio / 2, size * ratio / 2);
  IN_TEXT[kind](c, value);
  return canvas;
}

// Places of the page that ask for a sign (<span class="sign" data-fusion="in window">) get it.
export function fillSigns() {
  document.querySelectorAll(".sign").forEach((place) => {
    Object.entries(place.dataset).forEach(([kind, value]) => place.replaceChildren(signFor(kind, value)));
  });
}
