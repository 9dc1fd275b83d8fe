// How the record is drawn: one canvas, redrawn whole when the view comes to rest. Fusion is a shape and its colour;
// position is a ring in ink round it, so that the two verdicts never compete.

const INK = "#111111", PAPER = "#FFFFFF", FAINT = "#6B6B6B";
const RINGS = {};
RINGS[OUT] = "whole";
RINGS[NOT_RECORDED] = "broken";
RINGS[CANNOT_TELL] = "arcs";

function fusionLook(verdict) {
  return record.look.fusion[verdict] || record.look.fusion[NOT_RECORDED];
}

// A joint stands out where one of its verdicts is out of window or not recorded.
function standsOut(row) {
  return isInLine(row) && [joint("fusion_verdict", row), joint("position_verdict", row)].some(function (verdict) {
    return verdict === OUT || verdict === NOT_RECORDED;
  });
}

// ---- signs -------------------------------------------------------------------------------------------------------

const OUTLINES = {
  disc: function (c, r) { c.arc(0, 0, r, 0, 2 * Math.PI); },
  diamond: function (c, r) { corners(c, [[0, -1.25 * r], [1.25 * r, 0], [0, 1.25 * r], [-1.25 * r, 0]]); },
  triangle: function (c, r) { corners(c, [[0, -1.2 * r], [1.15 * r, 0.85 * r], [-1.15 * r, 0.85 * r]]); },
  square: function (c, r) { c.rect(-0.95 * r, -0.95 * r, 1.9 * r, 1.9 * r); },
  bar: function (c, r) { c.rect(-1.2 * r, -0.5 * r, 2.4 * r, r); },
};

function corners(c, list) {
  list.forEach(function (at, i) { if (i) c.lineTo(at[0], at[1]); else c.moveTo(at[0], at[1]); });
  c.closePath();
}

function drawShape(c, verdict, r) {
  const look = fusionLook(verdict);
  c.beginPath();
  OUTLINES[look.shape](c, r);
  c.fillStyle = look.fill;
  c.fill();
  c.strokeStyle = look.line;
  c.lineWidth = r > 4 ? 1.5 : 1;
  c.stroke();
}

function drawRing(c, kind, r) {
  const out = 1.25 * r + (r < 6 ? 2.5 : 3.5);
  c.strokeStyle = INK;
  c.lineWidth = kind === "arcs" || r < 4 ? 1.2 : 2;
  if (kind === "whole") arcs(c, out, [[0, 2]]);
  if (kind === "broken") arcs(c, out, [[0.08, 0.42], [0.58, 0.92], [1.08, 1.42], [1.58, 1.92]]);
  if (kind === "arcs") arcs(c, out, [[-0.18, 0.18], [0.82, 1.18]]);
}

function arcs(c, r, parts) {
  parts.forEach(function (part) {
    c.beginPath();
    c.arc(0, 0, r, part[0] * Math.PI, part[1] * Math.PI);
    c.stroke();
  });
}

// Cut out, or a trial: an empty circle with a stroke through it, whatever its verdict was.
function drawOutOfLine(c, r) {
  c.strokeStyle = FAINT;
  c.lineWidth = 1.2;
  arcs(c, r, [[0, 2]]);
  c.beginPath();
  c.moveTo(-r, r);
  c.lineTo(r, -r);
  c.stroke();
}

// Drawn once for each kind and size and copied from then on: that is what makes many joints quick.
const sprites = new Map();

function sprite(name, r, reach, draw) {
  const ratio = window.devicePixelRatio || 1, key = name + "|" + r.toFixed(2) + "|" + ratio;
  if (!sprites.has(key)) {
    const half = Math.ceil(reach), made = document.createElement("canvas");
    made.width = made.height = Math.ceil(2 * half * ratio);
    const c = made.getContext("2d");
    c.setTransform(ratio, 0, 0, ratio, half * ratio, half * ratio);
    draw(c);
    sprites.set(key, { image: made, half: half });
  }
  return sprites.get(key);
}

function stamp(c, made, x, y) {
  c.drawImage(made.image, x - made.half, y - made.half, 2 * made.half, 2 * made.half);
}

// ---- joints ------------------------------------------------------------------------------------------------------

// Worst last, so that nothing lies on top of what needs attention. Joints that are not in the line come first.
function drawingOrder() {
  const worst = record.look.worst_first;
  function depth(row) {
    if (!isInLine(row)) return -1;
    const fusion = worst.length - worst.indexOf(joint("fusion_verdict", row));
    return fusion + (standsOut(row) ? 10 : 0);
  }
  const rows = [];
  for (let i = 0; i < record.joints.rows; i++) if (isPlaced(i)) rows.push(i);
  const depths = new Map(rows.map(function (row) { return [row, depth(row)]; }));
  return rows.sort(function (a, b) { return depths.get(a) - depths.get(b) || a - b; });
}

const order = drawingOrder();
const signs = Array.from({ length: record.joints.rows }, function (_, row) {
  return isInLine(row) ? joint("fusion_verdict", row) || NOT_RECORDED : "out of line";
});
const standing = new Set(order.filter(standsOut));

// What stands out is drawn larger, unless so much of it stands close together that it would cover all the rest.
function prominence(view) {
  const apart = view.spacing * order.length / Math.max(1, standing.size);
  return Math.max(2.5, Math.min(4.2, apart * 0.5));
}

function radiusOf(view, row) {
  return standing.has(row) ? Math.max(prominence(view), view.radius) : view.radius;
}

function drawJoint(c, view, row, x, y) {
  const r = radiusOf(view, row), verdict = joint("fusion_verdict", row), ring = ringOf(view, row);
  if (!isInLine(row)) {
    const size = Math.max(4, r);
    stamp(c, sprite("out of line", size, size + 2, function (s) { drawOutOfLine(s, size); }), x, y);
    return;
  }
  stamp(c, sprite(verdict, r, 1.25 * r + 1, function (s) { drawShape(s, verdict, r); }), x, y);
  if (ring) stamp(c, sprite("ring " + ring, r, 1.25 * r + 5, function (s) { drawRing(s, ring, r); }), x, y);
}

function ringOf(view, row) {
  const ring = RINGS[joint("position_verdict", row)];
  return ring === "arcs" && !view.zoomedIn ? undefined : ring;
}

// Joints that fall on one pixel with the same sign are one stamp: a long route seen whole has many of them.
function drawJoints(c, view, labels, ofThese) {
  const drawn = { joints: 0, stamps: 0 };
  let last = null;
  order.forEach(function (row) {
    if (!ofThese(row)) return;
    const x = screenX(view, jointSpots.xs[row]), y = screenY(view, jointSpots.ys[row]);
    if (!isSeen(view, x, y, 20)) return;
    drawn.joints++;
    const sign = signs[row] + (ringOf(view, row) || "");
    if (last !== null && sign === last.sign && Math.abs(x - last.x) < 0.6 && Math.abs(y - last.y) < 0.6) return;
    drawJoint(c, view, row, x, y);
    labels.keepClear(x, y, radiusOf(view, row));
    drawn.stamps++;
    last = { sign: sign, x: x, y: y };
  });
  return drawn;
}

// ---- lines and gaps ----------------------------------------------------------------------------------------------

function trace(c, view, path) {
  c.beginPath();
  let lastX = Infinity, lastY = Infinity;
  for (let i = 0; i < path.xs.length; i++) {
    const x = screenX(view, path.xs[i]), y = screenY(view, path.ys[i]);
    const isLast = i === path.xs.length - 1;
    // Vertices that fall on one pixel are one vertex.
    if (!isLast && Math.abs(x - lastX) < 0.4 && Math.abs(y - lastY) < 0.4) continue;
    if (i === 0) c.moveTo(x, y); else c.lineTo(x, y);
    lastX = x;
    lastY = y;
  }
}

function strokePath(c, view, path, colour, width, dash) {
  trace(c, view, path);
  c.strokeStyle = colour;
  c.lineWidth = width;
  c.setLineDash(dash || []);
  c.lineJoin = "round";
  c.stroke();
  c.setLineDash([]);
}

function pathLength(view, path) {
  let length = 0;
  for (let i = 1; i < path.xs.length; i++) {
    length += Math.hypot(path.xs[i] - path.xs[i - 1], path.ys[i] - path.ys[i - 1]) * view.scale;
  }
  return length;
}

// The middle of a path and its direction there, on the screen.
function middleOf(view, path) {
  let rest = pathLength(view, path) / 2;
  for (let i = 1; i < path.xs.length; i++) {
    const dx = (path.xs[i] - path.xs[i - 1]) * view.scale, dy = (path.ys[i] - path.ys[i - 1]) * view.scale;
    const step = Math.hypot(dx, dy);
    if (step >= rest && step > 0) {
      const part = rest / step;
      return {
        x: screenX(view, path.xs[i - 1]) + part * dx, y: screenY(view, path.ys[i - 1]) + part * dy,
        dx: dx / step, dy: dy / step,
      };
    }
    rest -= step;
  }
  return { x: screenX(view, path.xs[0]), y: screenY(view, path.ys[0]), dx: 1, dy: 0 };
}

const SHORTEST_GAP = 16;  // pixels: a gap is seen at every zoom

// A band hatched across the line: a dashed stroke as wide as the band. What is still to come is hatched thinly.
function drawGap(c, view, g, isSelected) {
  const path = gapPaths[g], toCome = gap("kind", g) === "not yet recorded";
  const band = pathLength(view, path) >= SHORTEST_GAP ? path : shortestBand(view, path);
  if (isSelected) strokePath(c, view, band, INK, 22);
  strokePath(c, view, band, PAPER, 17);
  strokePath(c, view, band, toCome ? FAINT : record.look.gap, toCome ? 8 : 14, toCome ? [1.5, 7] : [3, 4]);
}

// Seen from afar, gaps lie over the joints that are in order, which would hide them; seen close, under all joints.
function drawGaps(c, view, selected) {
  let drawn = 0;
  gapPaths.forEach(function (path, g) {
    const at = middleOf(view, path);
    if (!isSeen(view, at.x, at.y, pathLength(view, path) / 2 + SHORTEST_GAP)) return;
    drawGap(c, view, g, g === selected);
    drawn++;
  });
  return drawn;
}

// A gap that is shorter than a finger can see is drawn as a short band about its middle.
function shortestBand(view, path) {
  const at = middleOf(view, path), half = SHORTEST_GAP / 2;
  const x = (at.x + view.originX) / view.scale, y = (at.y + view.originY) / view.scale;
  const dx = at.dx * half / view.scale, dy = at.dy * half / view.scale;
  return { xs: [x - dx, x + dx], ys: [y - dy, y + dy] };
}

// Where the joints between two neighbours have a record but no place, no record is missing: say what is.
function gapWords(g) {
  const missing = gap("missing_records", g), unplaced = gap("unplaced_here", g), words = [lengthText(gap("length_m", g), 1)];
  if (missing !== null && (missing > 0 || !unplaced)) words.push(many(missing, "missing record"));
  if (unplaced) words.push(many(unplaced, "joint") + " without a place");
  return words.filter(function (one) { return one !== null; }).join(", ");
}

// ---- labels ------------------------------------------------------------------------------------------------------

// Labels are set one after the other, the weightiest first; one that would cover another is left out.
function Labels(c, view, size) {
  this.c = c;
  this.view = view;
  this.size = size;
  this.boxes = controlBoxes(view.window);
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

// Where a text stands that begins `away` pixels from (x, y) in the direction (nx, ny): left, top, right, bottom.
Labels.prototype.boxOf = function (text, x, y, style) {
  this.c.font = (style.bold ? "600 " : "") + this.size + "px system-ui, -apple-system, 'Segoe UI', Roboto, sans-serif";
  const nx = style.nx, ny = style.ny, width = this.c.measureText(text).width, height = this.size * 1.25;
  const wanted = x + nx * style.away + (nx > 0.3 ? 0 : nx < -0.3 ? -width : -width / 2);
  const left = style.pushed && this.isInFrame([x, y, x, y]) ? this.intoFrame(wanted, width) : wanted;
  const middle = y + ny * style.away + (Math.abs(nx) > 0.3 ? 0 : ny * height / 2);
  return [left, middle - height / 2, left + width, middle + height / 2];
};

// Sets a text; tells whether there was room.
Labels.prototype.set = function (text, x, y, style) {
  if (!isSeen(this.view, x, y, 0)) return false;
  const c = this.c, box = this.boxOf(text, x, y, style), middle = (box[1] + box[3]) / 2;
  if (this.boxes.some(function (other) { return overlap(box, other); })) return false;
  this.boxes.push([box[0] - 3, box[1], box[2] + 3, box[3]]);
  c.textBaseline = "middle";
  c.lineWidth = 4;
  c.lineJoin = "round";
  c.strokeStyle = PAPER;
  c.strokeText(text, box[0], middle);
  c.fillStyle = style.colour || INK;
  c.fillText(text, box[0], middle);
  return true;
};

// The same on the side of the line that is asked for, or on the other where the first would leave the frame or
// cover something. What must be read is pushed into the frame where neither side has room.
Labels.prototype.beside = function (text, x, y, style) {
  const other = Object.assign({}, style, { nx: -style.nx, ny: -style.ny });
  const fits = this.isInFrame(this.boxOf(text, x, y, style)) || !this.isInFrame(this.boxOf(text, x, y, other));
  return this.set(text, x, y, fits ? style : other) || this.set(text, x, y, fits ? other : style);
};

Labels.prototype.intoFrame = function (left, width) {
  const frame = this.view.window;
  return Math.max(frame.min.x + 4, Math.min(left, frame.max.x - width - 4));
};

Labels.prototype.isInFrame = function (box) {
  const frame = this.view.window;
  return box[0] >= frame.min.x && box[2] <= frame.max.x && box[1] >= frame.min.y && box[3] <= frame.max.y;
};

// Keeps labels off a joint. A little less than its shape, so that its own name may stand close.
Labels.prototype.keepClear = function (x, y, r) {
  this.boxes.push([x - 0.7 * r, y - 0.7 * r, x + 0.7 * r, y + 0.7 * r]);
};

function overlap(a, b) {
  return a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
}

const marks = (function () {
  const list = [];
  for (let row = 0; row < record.marks.rows; row++) {
    const at = spotOn(mark("line", row), mark("chainage_m", row));
    if (isNaN(markSpots.xs[row]) || at === null) continue;
    const label = mark("station", row) || "";
    list.push({ row: row, rank: mark("rank", row), dx: at.dx, dy: at.dy, stated: stated(label), text: label.replace(/\.0+$/, "") });
  }
  return list.sort(function (a, b) { return b.rank - a.rank || a.row - b.row; });  // ends and equations first
})();

// The least round step (1, 2 or 5 times a power of ten of the stations' unit) that takes `pixels` on the screen.
function roundStep(view, pixels) {
  const least = pixels * view.metresPerPixel / metresPerUnit, power = Math.pow(10, Math.floor(Math.log10(least)));
  return power * [1, 2, 5, 10].filter(function (times) { return power * times >= least; })[0];
}

function isMultiple(value, step) {
  return value !== null && Math.abs(value / step - Math.round(value / step)) < 1e-6;
}

// Marks stand to the right of the line, looking up-chainage; joints' names to its left. Ticks and labels thin out
// to round stations before they would touch.
function drawMarks(c, view, labels) {
  const tickStep = roundStep(view, 10), labelStep = roundStep(view, 90);
  let named = 0;
  marks.forEach(function (one) {
    const x = screenX(view, markSpots.xs[one.row]), y = screenY(view, markSpots.ys[one.row]);
    const always = one.rank === 3, hasName = always || isMultiple(one.stated, labelStep);
    if (!isSeen(view, x, y, 20) || !(hasName || isMultiple(one.stated, tickStep))) return;
    drawTick(c, x, y, one, hasName ? 14 : 8);
    if (hasName && labels.beside(one.text, x, y, { nx: -one.dy, ny: one.dx, away: 19, pushed: always, colour: record.look.line })) named++;
  });
  return named;
}

function drawTick(c, x, y, direction, length) {
  c.beginPath();
  c.moveTo(x, y);
  c.lineTo(x - direction.dy * length, y + direction.dx * length);
  c.strokeStyle = record.look.line;
  c.lineWidth = length > 10 ? 2 : 1.2;
  c.stroke();
}

function drawJointNames(view, labels, chosen) {
  if (!view.zoomedIn) return;
  for (let k = order.length - 1; k >= 0; k--) {
    const row = order[k], x = screenX(view, jointSpots.xs[row]), y = screenY(view, jointSpots.ys[row]);
    if (!isSeen(view, x, y, 0) || !isInLine(row) || row === chosen) continue;
    const at = spotOn(joint("line", row), joint("chainage_m", row)) || { dx: 1, dy: 0 };
    labels.beside(joint("joint_id", row), x, y, { nx: at.dy, ny: -at.dx, away: radiusOf(view, row) + 11 });
  }
}

// ---- what is selected --------------------------------------------------------------------------------------------

function drawSelectedJoint(c, view, row, labels) {
  if (!isPlaced(row)) return;
  const x = screenX(view, jointSpots.xs[row]), y = screenY(view, jointSpots.ys[row]);
  drawOpinions(c, view, row, x, y, labels);
  drawJoint(c, view, row, x, y);
  drawCorners(c, x, y, 1.25 * radiusOf(view, row) + 9);
  const at = spotOn(joint("line", row), joint("chainage_m", row)) || { dx: 1, dy: 0 };
  labels.beside(joint("joint_id", row), x, y, { nx: at.dy, ny: -at.dx, away: 1.25 * radiusOf(view, row) + 22, bold: true, pushed: true });
}

function drawRadius(c, view, row) {
  const radius = joint("radius95_m", row);
  if (!isPlaced(row) || radius === null) return;
  const x = screenX(view, jointSpots.xs[row]), y = screenY(view, jointSpots.ys[row]);
  c.beginPath();
  c.arc(x, y, radius / metresPerPixel(joint("latitude", row), Math.log2(view.scale)), 0, 2 * Math.PI);
  c.fillStyle = "rgba(17, 17, 17, 0.06)";
  c.fill();
  c.strokeStyle = INK;
  c.lineWidth = 1.2;
  c.setLineDash([6, 4]);
  c.stroke();
  c.setLineDash([]);
}

// The recorded fix and the other places in reach, each tied to the joint by a thin line.
function drawOpinions(c, view, row, x, y, labels) {
  rowsOf(firstPosition, row).forEach(function (p) {
    const px = screenX(view, positionSpots.xs[p]), py = screenY(view, positionSpots.ys[p]);
    if (isNaN(px) || Math.hypot(px - x, py - y) < 3) return;
    const isFix = position("method", p) === "fix";
    c.strokeStyle = INK;
    c.lineWidth = 1;
    c.setLineDash(isFix ? [] : [2, 3]);
    c.beginPath();
    c.moveTo(x, y);
    c.lineTo(px, py);
    c.stroke();
    c.setLineDash([]);
    drawOpinion(c, px, py, isFix);
    labels.set(position("method", p), px, py, { nx: 1, ny: 0, away: 10 });
  });
}

function drawOpinion(c, x, y, isFix) {
  c.lineWidth = 2;
  c.beginPath();
  if (isFix) {
    c.moveTo(x - 5, y - 5); c.lineTo(x + 5, y + 5);
    c.moveTo(x - 5, y + 5); c.lineTo(x + 5, y - 5);
  } else {
    c.arc(x, y, 5, 0, 2 * Math.PI);
  }
  c.stroke();
}

// Four corners round the thing that the card is about.
function drawCorners(c, x, y, half) {
  const arm = 6;
  c.strokeStyle = INK;
  c.lineWidth = 2.5;
  [[-1, -1], [1, -1], [1, 1], [-1, 1]].forEach(function (side) {
    const cx = x + side[0] * half, cy = y + side[1] * half;
    c.beginPath();
    c.moveTo(cx - side[0] * arm, cy);
    c.lineTo(cx, cy);
    c.lineTo(cx, cy - side[1] * arm);
    c.stroke();
  });
}

function drawSelectedStation(c, view, choice, labels) {
  const at = spotOn(choice.line, choice.chainage);
  if (at === null) return;
  const x = screenX(view, at.x), y = screenY(view, at.y);
  drawCorners(c, x, y, 12);
  drawOpinion(c, x, y, true);
  labels.set(stationText(choice.stated), x, y, { nx: at.dy, ny: -at.dx, away: 20, bold: true });
}

// ---- the whole picture -------------------------------------------------------------------------------------------

// Draws everything for one view and returns how much was drawn. `choice` is what the card is about, or null.
function drawRecord(c, view, choice, textSize) {
  const labels = new Labels(c, view, textSize), is = function (kind) { return choice !== null && choice.kind === kind; };
  if (is("joint")) drawRadius(c, view, choice.row);
  lines.forEach(function (line) { strokePath(c, view, line, PAPER, 6); });
  lines.forEach(function (line) { strokePath(c, view, line, record.look.line, 2); });
  const selectedGap = is("gap") ? choice.row : null;
  let gaps = view.zoomedIn ? drawGaps(c, view, selectedGap) : 0;
  const inOrder = drawJoints(c, view, labels, function (row) { return !standing.has(row); });
  if (!view.zoomedIn) gaps = drawGaps(c, view, selectedGap);
  const prominent = drawJoints(c, view, labels, function (row) { return standing.has(row); });
  if (is("joint")) drawSelectedJoint(c, view, choice.row, labels);
  if (is("station")) drawSelectedStation(c, view, choice, labels);
  gapPaths.forEach(function (path, g) { nameGap(view, path, g, labels); });
  const names = drawMarks(c, view, labels);
  drawJointNames(view, labels, is("joint") ? choice.row : null);
  return {
    joints: inOrder.joints + prominent.joints, stamps: inOrder.stamps + prominent.stamps, gaps: gaps, stations: names,
  };
}

function nameGap(view, path, g, labels) {
  if (pathLength(view, path) < 60) return;
  const at = middleOf(view, path);
  labels.beside(gapWords(g), at.x, at.y, { nx: at.dy, ny: -at.dx, away: 16, bold: true, pushed: true, colour: record.look.gap });
}

// Leaflet's renderer follows the map (drag, pinch, zoom); only the drawing is ours.
function recordLayer(choice) {
  const Layer = L.Renderer.extend({
    options: { padding: 0.25 },
    drawn: null,
    _initContainer: function () {
      this._container = document.createElement("canvas");
      this._container.setAttribute("aria-hidden", "true");
    },
    _destroyContainer: function () { this._container.remove(); },
    _reset: function () { this._update(); },  // Leaflet's own would also shift it by a part of a pixel: a blur
    getEvents: function () {
      return Object.assign(L.Renderer.prototype.getEvents.call(this), { move: this._followDrag });
    },
    // A long drag leaves what was drawn: draw anew before its edge is seen.
    _followDrag: function () {
      const map = this._map, size = map.getSize(), corner = map.containerPointToLayerPoint([0, 0]);
      if (!this._bounds.contains(L.bounds(corner, corner.add(size)))) this._update();
    },
    _update: function () {
      if (this._map._animatingZoom && this._bounds) return;
      L.Renderer.prototype._update.call(this);
      const canvas = this._container, size = this._bounds.getSize(), ratio = window.devicePixelRatio || 1;
      canvas.width = Math.ceil(size.x * ratio);
      canvas.height = Math.ceil(size.y * ratio);
      canvas.style.width = size.x + "px";
      canvas.style.height = size.y + "px";
      L.DomUtil.setPosition(canvas, this._bounds.min);
      const c = canvas.getContext("2d"), view = viewOf(this._map, this._bounds);
      document.querySelector(".crowded").hidden = !view.crowded;
      c.setTransform(ratio, 0, 0, ratio, -this._bounds.min.x * ratio, -this._bounds.min.y * ratio);
      this.drawn = drawRecord(c, view, choice(), this._map.getSize().x < 700 ? 16 : 14);
    },
    redraw: function () { if (this._map) this._update(); },
  });
  return new Layer();
}
