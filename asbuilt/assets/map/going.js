// The map goes where it is sent, and a tap on it chooses what lies there.

import { placeOf } from "./chosen.js";
import { isGapKnown, isMade } from "./days.js";
import { SHORTEST_GAP, bandOf } from "./draw_line.js";
import { order, radiusOf } from "./draw_joints.js";
import { button, isCalm } from "./elements.js";
import { layer } from "./layer.js";
import { jointsOfFinding } from "./outstanding.js";
import { count } from "./record.js";
import { choose, isChosen, onChange, state } from "./state.js";
import { spacing } from "./along.js";
import { boundsOf, gapPaths, jointSpots, lines, metresPerPixel, routeBounds, screenX, screenY, viewOf } from "./world.js";

export const map = window.map_of_joints;  // made by folium's script, just before this one
const FINGER = 22, POINTER = 12;          // pixels within which a tap or a click means a thing

export function startGoing() {
  if (isCalm()) standStill();
  onChange((changed) => {
    if (changed.includes("choice") && state.choice !== null && state.choice.move) goTo(state.choice);
    if (changed.includes("picked") && state.picked !== null) showPicked(state.picked.rows);
    if (changed.includes("phone") && state.phone !== null && state.phone.isFirst) showPhone();
  });
  map.on("click", (event) => {
    const found = thingsAt(event.containerPoint, reachOf(event));
    if (found.length) choose(nextOf(found), { move: false });
  });
  map.on("mousemove", (event) => {
    map.getContainer().style.cursor = thingsAt(event.containerPoint, POINTER).length ? "pointer" : "";
  });
}

// Whoever asked their device for less motion gets none here: a zoom, or a step by a key, is there at once. Leaflet takes
// that as an option only when a map is made, and folium has made it.
function standStill() {
  map.options.inertia = false;
  map._tryAnimatedZoom = () => false;
  map.panBy = (offset, options) => L.Map.prototype.panBy.call(map, offset, { ...options, animate: false });
}

// A button in the corner of the map that shows all of it.
export function addWholeRoute() {
  const Corner = L.Control.extend({
    onAdd() {
      const made = button("Whole route", showWholeRoute, { id: "whole-route" });
      L.DomEvent.disableClickPropagation(made);
      return made;
    },
  });
  map.addControl(new Corner({ position: "bottomright" }));
}

// ---- going -----------------------------------------------------------------------------------------------------------

// As large as it goes: the corners are kept free only where the route would lie in one.
export function showWholeRoute() {
  showBounds(routeBounds(), LEAST_ROOM);
  if (isUnderControl()) showBounds(routeBounds(), roomOf());
}

function showBounds(bounds, room) {
  if (bounds.isValid()) map.fitBounds(bounds, { ...padded(room), maxZoom: 20, animate: false });
}

function goTo(choice) {
  if (choice.kind === "gap") {
    const bounds = boundsOf([gapPaths[choice.row]]);
    if (bounds.isValid()) map.fitBounds(bounds, { ...padded(roomOf()), maxZoom: closeZoom(bounds.getCenter().lat), animate: !isCalm() });
    return;
  }
  if (choice.kind === "finding" && jointsOfFinding(choice.row).length > 1) {
    showPicked(jointsOfFinding(choice.row));
    return;
  }
  const place = placeOf(choice);
  if (place !== null) map.setView(place, Math.max(map.getZoom(), closeZoom(place.lat)), { animate: !isCalm() });
}

function showPicked(rows) {
  const list = Array.from(rows);
  showBounds(boundsOf([{ xs: list.map((row) => jointSpots.xs[row]), ys: list.map((row) => jointSpots.ys[row]) }]), roomOf());
}

// The phone and what is chosen in one view; the phone alone where nothing is.
export function showPhone() {
  const { phone, choice } = state, place = choice === null ? null : placeOf(choice);
  if (phone === null) return;
  const here = L.latLng(phone.latitude, phone.longitude);
  if (place === null) map.setView(here, Math.max(map.getZoom(), closeZoom(here.lat)), { animate: false });
  else map.fitBounds(L.latLngBounds([here, place]), { ...padded(roomOf()), maxZoom: closeZoom(here.lat), animate: false });
}

// ---- room for what stands over the map -------------------------------------------------------------------------------

const BESIDE_A_SIGN = 16;  // pixels: half a sign with its ring and corners
// At the right as much as the names of stations need, which are written beside the line.
const LEAST_ROOM = { left: 32, top: 40, right: 88, bottom: 40 };

function padded({ left, top, right, bottom }) { return { paddingTopLeft: [left, top], paddingBottomRight: [right, bottom] }; }

// The buttons and signs in the corners, in pixels of the map's frame.
function controls() {
  const frame = map.getContainer().getBoundingClientRect();
  return Array.from(document.querySelectorAll("#map .leaflet-control, #map .north"), (one) => {
    const box = one.getBoundingClientRect();
    return { left: box.left - frame.left, right: box.right - frame.left, top: box.top - frame.top, bottom: box.bottom - frame.top };
  });
}

// What a view of several things keeps free so that none lies under a control: above, beside those that stand there;
// at the foot, over them.
function roomOf() {
  const { x, y } = map.getSize(), room = { ...LEAST_ROOM }, keep = (side, pixels) => { room[side] = Math.max(room[side], pixels + BESIDE_A_SIGN); };
  controls().forEach((box) => {
    if (box.top > y / 2) keep("bottom", y - box.top);
    else if (box.right < x / 2) keep("left", box.right);
    else keep("right", x - box.left);
  });
  return room;
}

function isUnderControl() {
  const view = viewOf(map, null), { x, y } = map.containerPointToLayerPoint([0, 0]), boxes = controls();
  const isUnder = (left, top) => boxes.some((box) => left > box.left - BESIDE_A_SIGN && left < box.right + BESIDE_A_SIGN
    && top > box.top - BESIDE_A_SIGN && top < box.bottom + BESIDE_A_SIGN);
  return [...lines, jointSpots].some(({ xs, ys }) => xs.some((_, i) => isUnder(screenX(view, xs[i]) - x, screenY(view, ys[i]) - y)));
}

// Close enough to tell neighbours apart: about 60 pixels from joint to joint.
function closeZoom(latitude) {
  const zoom = Math.log2(metresPerPixel(latitude, 0) * 60 / spacing);
  return Math.max(10, Math.min(map.getMaxZoom() - 1, Math.round(2 * zoom) / 2));
}

// ---- tapping ---------------------------------------------------------------------------------------------------------

// What a tap means: the joints that are drawn under it, uppermost first; else the nearest within reach; else a gap.
function thingsAt(point, reach) {
  const at = map.containerPointToLayerPoint(point), view = viewOf(map, layer._bounds), under = [];
  let nearest = null, least = reach;
  for (let k = order.length - 1; k >= 0; k--) {
    const row = order[k], dx = screenX(view, jointSpots.xs[row]) - at.x, dy = screenY(view, jointSpots.ys[row]) - at.y;
    if (Math.abs(dx) > 40 || Math.abs(dy) > 40 || !isMade(row)) continue;
    const far = Math.hypot(dx, dy);
    if (far <= radiusOf(view, row) + 1) under.push({ kind: "joint", row });
    if (far < least) { least = far; nearest = { kind: "joint", row }; }
  }
  if (under.length) return under;
  const over = gapUnder(view, at);
  if (over !== null && (nearest === null || least > 8)) return [{ kind: "gap", row: over }];
  return nearest === null ? [] : [nearest];
}

// Where several joints are drawn on one spot, each further tap takes the next.
function nextOf(things) {
  const now = things.findIndex((one) => isChosen(one.kind, one.row));
  return { among: things.length, ...things[(now + 1) % things.length] };
}

function gapUnder(view, at) {
  for (let g = 0; g < count.gaps; g++) {
    const path = isGapKnown(g) ? bandOf(view, g) : { xs: [] };
    for (let i = 1; i < path.xs.length; i++) {
      const from = L.point(screenX(view, path.xs[i - 1]), screenY(view, path.ys[i - 1]));
      const to = L.point(screenX(view, path.xs[i]), screenY(view, path.ys[i]));
      if (L.LineUtil.pointToSegmentDistance(at, from, to) <= SHORTEST_GAP * 0.75) return g;
    }
  }
  return null;
}

function reachOf(event) {
  return event.originalEvent && event.originalEvent.pointerType === "mouse" ? POINTER : FINGER;
}
