// One canvas over the map, drawn whole when the view comes to rest. Leaflet's renderer follows the map (drag, pinch,
// zoom); only the drawing is ours.

import { drawChosenJoint, drawChosenStation, drawDay, drawFixes, drawJoints, drawRadius, nameJoints } from "./draw_joints.js";
import { drawContext, drawGaps, drawLines, drawMarks, nameContext, nameGaps } from "./draw_line.js";
import { drawPhone } from "./draw_phone.js";
import { state } from "./state.js";
import { Labels } from "./strokes.js";
import { viewOf } from "./world.js";

// Draws everything for one view and returns how much was drawn.
export function drawRecord(c, map, view, textSize) {
  const labels = new Labels(c, view, textSize), { choice } = state;
  const isAbout = (kind) => choice !== null && choice.kind === kind;
  drawContext(c, view, map);
  drawDay(c, view);
  if (isAbout("joint")) drawRadius(c, view, choice.row);
  drawLines(c, view);
  drawFixes(c, view);
  // Seen from afar, gaps lie over the joints that are in order, which would hide them; seen close, under all joints.
  let gaps = view.zoomedIn ? drawGaps(c, view) : [];
  const inOrder = drawJoints(c, view, labels, 0);
  if (!view.zoomedIn) gaps = drawGaps(c, view);
  const prominent = drawJoints(c, view, labels, 1);
  drawPhone(c, view, labels);
  if (isAbout("joint")) drawChosenJoint(c, view, choice.row, labels);
  if (isAbout("station")) drawChosenStation(c, view, choice, labels);
  nameGaps(view, labels, gaps);
  const stations = drawMarks(c, view, labels);
  nameJoints(view, labels);
  nameContext(view, labels);
  return { joints: inOrder.joints + prominent.joints, stamps: inOrder.stamps + prominent.stamps, gaps: gaps.length, stations };
}

const RecordLayer = L.Renderer.extend({
  options: { padding: 0.25 },
  drawn: null,
  _initContainer() {
    this._container = document.createElement("canvas");
    this._container.setAttribute("aria-hidden", "true");
  },
  _destroyContainer() { this._container.remove(); },
  _reset() { this._update(); },  // Leaflet's own would also shift it by a part of a pixel: a blur
  getEvents() {
    return { ...L.Renderer.prototype.getEvents.call(this), move: this._followDrag };
  },
  // A long drag leaves what was drawn: draw anew before its edge is seen.
  _followDrag() {
    const map = this._map, corner = map.containerPointToLayerPoint([0, 0]);
    if (!this._bounds.contains(L.bounds(corner, corner.add(map.getSize())))) this._update();
  },
  _update() {
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
    this.drawn = drawRecord(c, this._map, view, this._map.getSize().x < 700 || state.sun ? 16 : 14);
  },
  redraw() { if (this._map) this._update(); },
});

export const layer = new RecordLayer();
