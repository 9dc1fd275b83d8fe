// Where things are: on the earth, along a line, and on the screen.

import { count, firstIndex, joint, mark, numbers, opinion, record } from "./record.js";
import { spacing } from "./along.js";

// The record is in the base frame of the route; phones and backgrounds are in WGS 84, and so is the map. The page
// carries the difference as a plane over the route (record.shift; null: it is not known, and none is made).
function differenceAt(latitude, longitude) {
  if (record.shift === null) return [0, 0];
  const north = latitude - record.shift.origin[0], east = longitude - record.shift.origin[1];
  return [record.shift.latitude, record.shift.longitude].map(([a, b, c]) => a + b * north + c * east);
}

export function toWgs84(latitude, longitude) {
  const [north, east] = differenceAt(latitude, longitude);
  return [latitude + north, longitude + east];
}

// The other way; the difference changes too little over itself to matter.
export function fromWgs84(latitude, longitude) {
  const [north, east] = differenceAt(latitude, longitude);
  return [latitude - north, longitude - east];
}

// Positions of the record on the map's square world at zoom 0 (256 wide), once; a view only scales and shifts them.
export function toWorld(latitude, longitude) {
  return L.CRS.EPSG3857.latLngToPoint(L.latLng(toWgs84(latitude, longitude)), 0);
}

// A spot of that world as the map wants it: latitude and longitude in WGS 84.
export function toPlace(spot) {
  return L.CRS.EPSG3857.pointToLatLng(L.point(spot.x, spot.y), 0);
}

export function worldPath(path) {
  const xs = new Float64Array(path.length / 2), ys = new Float64Array(path.length / 2);
  for (let i = 0; i < xs.length; i++) {
    const spot = toWorld(path[2 * i], path[2 * i + 1]);
    xs[i] = spot.x;
    ys[i] = spot.y;
  }
  return { xs, ys };
}

// The same for columns of latitude and longitude; NaN where there is no place. The projection is written out (spherical
// Mercator, as `toWorld` has it from Leaflet): there may be a hundred thousand, and an object for each takes its time.
function worldPoints(read, rows, prefix) {
  const xs = numbers(read, prefix + "longitude", rows), ys = numbers(read, prefix + "latitude", rows);
  const { origin, latitude, longitude } = record.shift || { origin: [0, 0], latitude: [0, 0, 0], longitude: [0, 0, 0] };
  for (let i = 0; i < rows; i++) {
    const up = ys[i] - origin[0], along = xs[i] - origin[1];
    const north = latitude[0] + latitude[1] * up + latitude[2] * along, east = longitude[0] + longitude[1] * up + longitude[2] * along;
    const sine = Math.sin((ys[i] + north) * Math.PI / 180);
    xs[i] = 256 * ((xs[i] + east) / 360 + 0.5);
    ys[i] = 256 * (0.5 - Math.log((1 + sine) / (1 - sine)) / (4 * Math.PI));
  }
  return { xs, ys };
}

export const jointSpots = worldPoints(joint, count.joints, "");
export const fixSpots = worldPoints(joint, count.joints, "fix_");
export const markSpots = worldPoints(mark, count.marks, "");
export const opinionSpots = worldPoints(opinion, record.opinions.rows, "");
export const gapPaths = record.gap_paths.map(worldPath);
export const lines = record.lines.map((line) => ({ name: line.line, chainages: line.chainage_m, ...worldPath(line.path) }));

export function lineNamed(name) {
  return lines.find((line) => line.name === name) || null;
}

// The place on a line at a chainage, and the direction of increasing chainage there; null beyond its ends.
export function spotOn(name, chainage) {
  const line = lineNamed(name);
  if (line === null || line.xs.length < 2) return null;
  const last = line.chainages.length - 1;
  if (chainage < line.chainages[0] - 0.01 || chainage > line.chainages[last] + 0.01) return null;
  const after = Math.min(last, Math.max(1, firstIndex(last + 1, (i) => line.chainages[i] >= chainage)));
  const dx = line.xs[after] - line.xs[after - 1], dy = line.ys[after] - line.ys[after - 1];
  const step = line.chainages[after] - line.chainages[after - 1];
  const part = step > 0 ? (chainage - line.chainages[after - 1]) / step : 0;
  const size = Math.hypot(dx, dy) || 1;
  return { x: line.xs[after - 1] + part * dx, y: line.ys[after - 1] + part * dy, dx: dx / size, dy: dy / size };
}

// The place on any line (or on the one that is named) that lies nearest to a spot: line, chainage, and how far away
// in the world's unit.
export function nearestOnLine(x, y, only) {
  let best = null;
  lines.filter((line) => only === undefined || line.name === only).forEach((line) => {
    for (let i = 1; i < line.xs.length; i++) {
      const dx = line.xs[i] - line.xs[i - 1], dy = line.ys[i] - line.ys[i - 1], size = dx * dx + dy * dy;
      const part = size > 0 ? Math.max(0, Math.min(1, ((x - line.xs[i - 1]) * dx + (y - line.ys[i - 1]) * dy) / size)) : 0;
      const far = Math.hypot(line.xs[i - 1] + part * dx - x, line.ys[i - 1] + part * dy - y);
      if (best !== null && far >= best.far) continue;
      best = { line: line.name, chainage: line.chainages[i - 1] + part * (line.chainages[i] - line.chainages[i - 1]), far };
    }
  });
  return best;
}

// What the screen shows now. Points of the map's own layer, so that a drag needs no new drawing.
export function viewOf(map, bounds) {
  const origin = map.getPixelOrigin();
  return viewAt(map.getCenter().lat, map.getZoom(), { originX: origin.x, originY: origin.y, bounds, window: windowOf(map) });
}

// The same for any frame: `bounds` holds what is drawn, `window` what is seen of it, both from the given origin.
export function viewAt(latitude, zoom, { originX, originY, bounds, window }) {
  const perPixel = metresPerPixel(latitude, zoom), apart = spacing / perPixel;  // pixels between joints
  return {
    scale: Math.pow(2, zoom), originX, originY, bounds, metresPerPixel: perPixel,
    window, spacing: apart, radius: Math.max(2.5, Math.min(8, apart * 0.3)),
    zoomedIn: apart > 22, crowded: apart < 1.5,
  };
}

// What is within the frame now; `bounds` reaches farther, so that a short drag shows no edge.
function windowOf(map) {
  const corner = map.containerPointToLayerPoint([0, 0]);
  return L.bounds(corner, corner.add(map.getSize()));
}

const EARTH_CIRCUMFERENCE = 2 * Math.PI * 6378137;  // metres, of the sphere that the map's projection uses

export function metresPerPixel(latitude, zoom) {
  return EARTH_CIRCUMFERENCE * Math.cos(latitude * Math.PI / 180) / (256 * Math.pow(2, zoom));
}

export function screenX(view, x) { return x * view.scale - view.originX; }
export function screenY(view, y) { return y * view.scale - view.originY; }

export function isSeen(view, x, y, margin) {
  const b = view.bounds;
  return x >= b.min.x - margin && x <= b.max.x + margin && y >= b.min.y - margin && y <= b.max.y + margin;
}

export function spotOfJoint(row) { return { x: jointSpots.xs[row], y: jointSpots.ys[row] }; }

// The spots of some paths as bounds of the map; invalid where there is none.
export function boundsOf(paths) {
  let west = Infinity, east = -Infinity, top = Infinity, foot = -Infinity;
  paths.forEach(({ xs, ys }) => {
    for (let i = 0; i < xs.length; i++) {
      if (isNaN(xs[i])) continue;
      west = Math.min(west, xs[i]);
      east = Math.max(east, xs[i]);
      top = Math.min(top, ys[i]);
      foot = Math.max(foot, ys[i]);
    }
  });
  return east < west ? L.latLngBounds([]) : L.latLngBounds([toPlace({ x: west, y: foot }), toPlace({ x: east, y: top })]);
}

// Everything with a place.
export function routeBounds() { return boundsOf([...lines, jointSpots]); }
