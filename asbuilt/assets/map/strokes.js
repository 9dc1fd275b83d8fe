// Paths on the screen: traced, stroked, measured, and the names of things set beside them without covering each other.

import { INK, PAPER } from "./signs.js";
import { isSeen, screenX, screenY } from "./world.js";

export function trace(c, view, path) {
  c.beginPath();
  let lastX = Infinity, lastY = Infinity;
  for (let i = 0; i < path.xs.length; i++) {
    const x = screenX(view, path.xs[i]), y = screenY(view, path.ys[i]);
    // Vertices that fall on one pixel are one vertex.
    if (i !== path.xs.length - 1 && Math.abs(x - lastX) < 0.4 && Math.abs(y - lastY) < 0.4) continue;
    if (i === 0) c.moveTo(x, y); else c.lineTo(x, y);
    lastX = x;
    lastY = y;
  }
}

export function strokePath(c, view, path, colour, width, dash) {
  trace(c, view, path);
  c.strokeStyle = colour;
  c.lineWidth = width;
  c.setLineDash(dash || []);
  c.lineJoin = "round";
  c.stroke();
  c.setLineDash([]);
}

export function pathLength(view, path) {
  let length = 0;
  for (let i = 1; i < path.xs.length; i++) {
    length += Math.hypot(path.xs[i] - path.xs[i - 1], path.ys[i] - path.ys[i - 1]) * view.scale;
  }
  return length;
}

// The middle of a path and its direction there, on the screen.
export function middleOf(view, path) {
  let rest = pathLength(view, path) / 2;
  for (let i = 1; i < path.xs.length; i++) {
    const dx = (path.xs[i] - path.xs[i - 1]) * view.scale, dy = (path.ys[i] - path.ys[i - 1]) * view.scale;
    const step = Math.hypot(dx, dy);
    if (step >= rest && step > 0) {
      const x = screenX(view, path.xs[i - 1]), y = screenY(view, path.ys[i - 1]), part = rest / step;
      return { x: x + part * dx, y: y + part * dy, dx: dx / step, dy: dy / step };
    }
    rest -= step;
  }
  return { x: screenX(view, path.xs[0]), y: screenY(view, path.ys[0]), dx: 1, dy: 0 };
}

// ---- labels -----------------------------------------------------------------------------------------------------------

// Labels are set one after the other, the weightiest first; one that would cover another is left out.
export class Labels {
  constructor(c, view, size) {
    this.c = c;
    this.view = view;
    this.size = size;
    this.boxes = controlBoxes(view.window);
  }

  // Where a text stands that begins `away` pixels from (x, y) in the direction (nx, ny): left, top, right, bottom.
  boxOf(text, x, y, style) {
    this.c.font = (style.bold ? "600 " : "") + this.size + "px system-ui, -apple-system, 'Segoe UI', Roboto, sans-serif";
    const { nx, ny } = style, width = this.c.measureText(text).width, height = this.size * 1.25;
    const wanted = x + nx * style.away + (nx > 0.3 ? 0 : nx < -0.3 ? -width : -width / 2);
    const left = style.pushed && this.isInFrame([x, y, x, y]) ? this.intoFrame(wanted, width) : wanted;
    const middle = y + ny * style.away + (Math.abs(nx) > 0.3 ? 0 : ny * height / 2);
    return [left, middle - height / 2, left + width, middle + height / 2];
  }

  // Sets a text; tells whether there was room.
  set(text, x, y, style) {
    if (!isSeen(this.view, x, y, 0)) return false;
    const c = this.c, box = this.boxOf(text, x, y, style), middle = (box[1] + box[3]) / 2;
    if (this.boxes.some((other) => overlap(box, other))) return false;
    this.boxes.push([box[0] - 3, box[1], box[2] + 3, box[3]]);
    c.textBaseline = "middle";
    c.lineWidth = 4;
    c.lineJoin = "round";
    c.strokeStyle = PAPER;
    c.strokeText(text, box[0], middle);
    c.fillStyle = style.colour || INK;
    c.fillText(text, box[0], middle);
    return true;
  }

  // The same on the side of the line that is asked for, or on the other where the first would leave the frame or
  // cover something. What must be read is pushed into the frame where neither side has room.
  beside(text, x, y, style) {
    const other = { ...style, nx: -style.nx, ny: -style.ny };
    const fits = this.isInFrame(this.boxOf(text, x, y, style)) || !this.isInFrame(this.boxOf(text, x, y, other));
    return this.set(text, x, y, fits ? style : other) || this.set(text, x, y, fits ? other : style);
  }

  intoFrame(left, width) {
    const frame = this.view.window;
    return Math.max(frame.min.x + 4, Math.min(left, frame.max.x - width - 4));
  }

  isInFrame(box) {
    const frame = this.view.window;
    return box[0] >= frame.min.x && box[2] <= frame.max.x && box[1] >= frame.min.y && box[3] <= frame.max.y;
  }

  // Keeps labels off a joint. A little less than its shape, so that its own name may stand close.
  keepClear(x, y, r) {
    this.boxes.push([x - 0.7 * r, y - 0.7 * r, x + 0.7 * r, y + 0.7 * r]);
  }
}

// Where the map's own controls stand: nothing is written under them.
function controlBoxes(frame) {
  return [
    [frame.max.x - 64, frame.min.y, frame.max.x, frame.min.y + 112],
    [frame.max.x - 140, frame.max.y - 64, frame.max.x, frame.max.y],
    [frame.min.x, frame.max.y - 40, frame.min.x + 160, frame.max.y],
    [frame.min.x, frame.min.y, frame.min.x + 40, frame.min.y + 60],
  ];
}

function overlap(a, b) {
  return a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
}
