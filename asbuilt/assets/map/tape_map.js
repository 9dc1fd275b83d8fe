// The tape and the map, each leading the other: whichever is moved, the other follows and does not answer back.

import { joint } from "./record.js";
import { contentAt } from "./tape_record.js";
import { here, onLine, pixelAt, middle } from "./tape_where.js";
import { metresPerPixel, nearestOnLine, spotOn, toPlace } from "./world.js";

const FAR = 40;  // pixels: nearer than that the map's centre may well be meant for the line that is shown

// `walked` is the joint that was last walked to or chosen; it is forgotten when the tape is moved by hand.
export const lead = { isOurs: false, walked: null };

function centreSpot(map) { return L.CRS.EPSG3857.latLngToPoint(map.getCenter(), 0); }

// The line that the map's centre is by far nearer to than to the one shown, or the one shown.
function lineNear(spot, zoom) {
  const any = nearestOnLine(spot.x, spot.y), shown = nearestOnLine(spot.x, spot.y, here.line);
  if (any === null || shown === null || any.line === here.line) return here.line;
  return any.far * 2 < shown.far && shown.far * Math.pow(2, zoom) > FAR ? any.line : here.line;
}

export function setScale(map) { here.perPixel = metresPerPixel(map.getCenter().lat, map.getZoom()); }

// The map was moved: the tape shows what its centre is nearest to.
export function followMap(map) {
  setScale(map);
  if (lead.isOurs) return;
  const spot = centreSpot(map);
  here.line = lineNear(spot, map.getZoom());
  const near = nearestOnLine(spot.x, spot.y, here.line);
  if (near !== null) here.chainage = atWalked(near.chainage);
}

// A map stands on whole pixels; who walked to a joint stands at the joint.
function atWalked(chainage) {
  const { walked } = lead;
  if (walked === null || joint("line", walked) !== here.line) return chainage;
  const at = joint("chainage_m", walked);
  return Math.abs(at - chainage) <= 1.5 * here.perPixel ? at : chainage;
}

// The tape was moved: the map's centre goes to the place under the needle.
export function leadMap(map, chainage) {
  lead.walked = null;
  here.chainage = onLine(chainage);
  const spot = spotOn(here.line, here.chainage);
  if (spot === null) return;
  lead.isOurs = true;
  map.setView(toPlace(spot), map.getZoom(), { animate: false });
  lead.isOurs = false;
  setScale(map);
}

// Another line: at the place on it that is nearest to where the map is.
export function showLine(map, line) {
  const spot = centreSpot(map), near = nearestOnLine(spot.x, spot.y, line);
  here.line = line;
  if (near !== null) leadMap(map, near.chainage);
}

// A joint was chosen, on the map, in a list or here: its line is shown, and from it the keys walk on.
export function followChoice(choice) {
  const isPlaced = choice !== null && choice.kind === "joint" && joint("chainage_m", choice.row) !== null;
  lead.walked = isPlaced ? choice.row : null;
  if (isPlaced && choice.move && contentAt(joint("line", choice.row)) !== undefined) here.line = joint("line", choice.row);
}
