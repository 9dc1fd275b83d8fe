// Where things are: on the earth, along a line, and on the screen.

// Positions on the map's square world at zoom 0 (256 wide), once; a view only scales and shifts them.
function toWorld(latitude, longitude) {
  return L.CRS.EPSG3857.latLngToPoint(L.latLng(latitude, longitude), 0);
}

function worldPath(path) {
  const xs = new Float64Array(path.length / 2), ys = new Float64Array(path.length / 2);
  for (let i = 0; i < xs.length; i++) {
    const spot = toWorld(path[2 * i], path[2 * i + 1]);
    xs[i] = spot.x;
    ys[i] = spot.y;
  }
  return { xs: xs, ys: ys };
}

function worldPoints(read, rows) {
  const xs = new Float64Array(rows).fill(NaN), ys = new Float64Array(rows).fill(NaN);
  for (let i = 0; i < rows; i++) {
    if (read("latitude", i) === null || read("longitude", i) === null) continue;
    const spot = toWorld(read("latitude", i), read("longitude", i));
    xs[i] = spot.x;
    ys[i] = spot.y;
  }
  return { xs: xs, ys: ys };
}

const jointSpots = worldPoints(joint, record.joints.rows);
const markSpots = worldPoints(mark, record.marks.rows);
const positionSpots = worldPoints(position, record.positions.rows);
const gapPaths = record.gaps.paths.map(worldPath);
const lines = record.lines.map(function (line) {
  return Object.assign({ name: line.line, chainages: line.chainage_m }, worldPath(line.path));
});

function lineNamed(name) {
  return lines.filter(function (line) { return line.name === name; })[0] || null;
}

// The place on a line at a chainage, and the direction of increasing chainage there; null beyond its ends.
function spotOn(name, chainage) {
  const line = lineNamed(name);
  if (line === null || line.xs.length < 2) return null;
  const last = line.chainages.length - 1;
  if (chainage < line.chainages[0] - 0.01 || chainage > line.chainages[last] + 0.01) return null;
  const after = Math.min(last, Math.max(1, firstIndex(last + 1, function (i) { return line.chainages[i] >= chainage; })));
  const dx = line.xs[after] - line.xs[after - 1], dy = line.ys[after] - line.ys[after - 1];
  const step = line.chainages[after] - line.chainages[after - 1];
  const part = step > 0 ? (chainage - line.chainages[after - 1]) / step : 0;
  const size = Math.hypot(dx, dy) || 1;
  return { x: line.xs[after - 1] + part * dx, y: line.ys[after - 1] + part * dy, dx: dx / size, dy: dy / size };
}

// The chainages on one line that carry a stated value: none in a hole between labels, two in an overlap.
function chainagesOf(name, value) {
  const known = knownLabels(name), found = [];
  for (let i = 1; i < known.length; i++) {
    const chainage = known[i].chainage - (known[i].stated - value) * metresPerUnit;
    const isFirst = i === 1 && Math.abs(chainage - known[0].chainage) < 0.006;
    if (isFirst || (chainage > known[i - 1].chainage + 0.006 && chainage <= known[i].chainage + 0.006)) found.push(chainage);
  }
  return found;
}

function knownLabels(name) {
  const known = [];
  for (let i = 0; i < record.marks.rows; i++) {
    if (mark("line", i) === name) known.push({ chainage: mark("chainage_m", i), stated: stated(mark("station", i)) });
  }
  return known
    .filter(function (one) { return one.stated !== null && one.chainage !== null; })
    .sort(function (a, b) { return a.chainage - b.chainage; });
}

// What the screen shows now. Points of the map's own layer, so that a drag needs no new drawing.
function viewOf(map, bounds) {
  const zoom = map.getZoom(), origin = map.getPixelOrigin(), scale = Math.pow(2, zoom);
  const perPixel = metresPerPixel(map.getCenter().lat, zoom);
  const gapBetweenJoints = spacing / perPixel;
  return {
    scale: scale, originX: origin.x, originY: origin.y, bounds: bounds, metresPerPixel: perPixel, window: windowOf(map),
    spacing: gapBetweenJoints,
    radius: Math.max(2.5, Math.min(8, gapBetweenJoints * 0.3)),
    zoomedIn: gapBetweenJoints > 22,
    crowded: gapBetweenJoints < 1.5,
  };
}

// What is within the frame now; `bounds` reaches farther, so that a short drag shows no edge.
function windowOf(map) {
  const corner = map.containerPointToLayerPoint([0, 0]);
  return L.bounds(corner, corner.add(map.getSize()));
}

const EARTH_CIRCUMFERENCE = 2 * Math.PI * 6378137;  // metres, of the sphere that the map's projection uses

function metresPerPixel(latitude, zoom) {
  return EARTH_CIRCUMFERENCE * Math.cos(latitude * Math.PI / 180) / (256 * Math.pow(2, zoom));
}

function screenX(view, x) { return x * view.scale - view.originX; }
function screenY(view, y) { return y * view.scale - view.originY; }

function isSeen(view, x, y, margin) {
  const b = view.bounds;
  return x >= b.min.x - margin && x <= b.max.x + margin && y >= b.min.y - margin && y <= b.max.y + margin;
}

// Everything with a place, as the bounds of the whole route.
function routeBounds() {
  const bounds = L.latLngBounds([]);
  record.lines.forEach(function (line) {
    for (let i = 0; i < line.path.length; i += 2) bounds.extend([line.path[i], line.path[i + 1]]);
  });
  for (let i = 0; i < record.joints.rows; i++) {
    if (isPlaced(i)) bounds.extend([joint("latitude", i), joint("longitude", i)]);
  }
  return bounds;
}
