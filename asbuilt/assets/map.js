// The page comes alive: the map, what is chosen, and the ways to choose.

const map = window.map_of_joints;  // made by folium's script, just above
const FINGER = 22, POINTER = 12;   // pixels within which a tap or a click means a thing

let choice = null;
const layer = recordLayer(function () { return choice; });

// ---- choosing ----------------------------------------------------------------------------------------------------

// Shows the card of a joint, gap or station. `move` brings the map to it, which a tap on the map does not need.
function select(next, move) {
  choice = next;
  showCard();
  if (move !== false) showOnMap(next);
  layer.redraw();
}

function cardOf(chosen) {
  if (chosen.kind === "joint") return jointCard(chosen.row, chosen.among || 1, select);
  if (chosen.kind === "gap") return gapCard(chosen.row, select);
  return stationCard(chosen, select);
}

function showCard() {
  const card = document.getElementById("card");
  card.textContent = "";
  card.hidden = choice === null;
  if (choice === null) return;
  add(card, element("button", { type: "button", class: "close", click: function () { select(null, false); } }, "Close"));
  add(card, cardOf(choice));
  card.querySelector("h2").focus({ preventScroll: true });
  // On a narrow screen the map stands above the card and both have to be seen; on a wide one it stays beside it.
  const top = isNarrow() ? document.querySelector(".map") : card;
  top.scrollIntoView({ block: "start", behavior: "auto" });
}

function isNarrow() {
  return window.matchMedia("(max-width: 899px)").matches;
}

function showOnMap(chosen) {
  if (chosen.kind === "joint" && !isPlaced(chosen.row)) return;
  const calm = { animate: !window.matchMedia("(prefers-reduced-motion: reduce)").matches };
  if (chosen.kind === "gap") {
    const path = record.gaps.paths[chosen.row], bounds = L.latLngBounds([]);
    for (let i = 0; i < path.length; i += 2) bounds.extend([path[i], path[i + 1]]);
    if (bounds.isValid()) map.fitBounds(bounds, Object.assign({ maxZoom: closeZoom(path[0]), padding: [60, 60] }, calm));
    return;
  }
  const at = chosen.kind === "joint" ? [joint("latitude", chosen.row), joint("longitude", chosen.row)] : stationPlace(chosen);
  if (at !== null) map.setView(at, Math.max(map.getZoom(), closeZoom(at[0])), calm);
}

function stationPlace(chosen) {
  const at = spotOn(chosen.line, chosen.chainage);
  if (at === null) return null;
  const place = L.CRS.EPSG3857.pointToLatLng(L.point(at.x, at.y), 0);
  return [place.lat, place.lng];
}

// Close enough to tell neighbours apart: about 60 pixels from joint to joint.
function closeZoom(latitude) {
  const zoom = Math.log2(metresPerPixel(latitude, 0) * 60 / spacing);
  return Math.max(10, Math.min(map.getMaxZoom() - 1, Math.round(2 * zoom) / 2));
}

// ---- tapping the map ---------------------------------------------------------------------------------------------

// What a tap means: the joints that are drawn under it, uppermost first; else the nearest within reach; else a gap.
function thingsAt(point, reach) {
  const at = map.containerPointToLayerPoint(point), view = viewOf(map, layer._bounds), under = [];
  let nearest = null, least = reach;
  for (let k = order.length - 1; k >= 0; k--) {
    const row = order[k];
    const far = Math.hypot(screenX(view, jointSpots.xs[row]) - at.x, screenY(view, jointSpots.ys[row]) - at.y);
    if (far <= radiusOf(view, row) + 1) under.push({ kind: "joint", row: row });
    if (far < least) { least = far; nearest = { kind: "joint", row: row }; }
  }
  if (under.length) return under;
  const over = gapUnder(view, at);
  if (over !== null && (nearest === null || least > 8)) return [{ kind: "gap", row: over }];
  return nearest === null ? [] : [nearest];
}

// Where several joints are drawn on one spot, each further tap takes the next.
function nextOf(things) {
  const now = things.findIndex(function (one) { return choice !== null && one.kind === choice.kind && one.row === choice.row; });
  return Object.assign({ among: things.length }, things[(now + 1) % things.length]);
}

function gapUnder(view, at) {
  for (let g = 0; g < gapPaths.length; g++) {
    const path = pathLength(view, gapPaths[g]) >= SHORTEST_GAP ? gapPaths[g] : shortestBand(view, gapPaths[g]);
    for (let i = 1; i < path.xs.length; i++) {
      const from = L.point(screenX(view, path.xs[i - 1]), screenY(view, path.ys[i - 1]));
      const to = L.point(screenX(view, path.xs[i]), screenY(view, path.ys[i]));
      if (L.LineUtil.pointToSegmentDistance(at, from, to) <= 12) return g;
    }
  }
  return null;
}

function reachOf(event) {
  return event.originalEvent && event.originalEvent.pointerType === "mouse" ? POINTER : FINGER;
}

map.on("click", function (event) {
  const found = thingsAt(event.containerPoint, reachOf(event));
  if (found.length) select(nextOf(found), false);
});

map.on("mousemove", function (event) {
  map.getContainer().style.cursor = thingsAt(event.containerPoint, POINTER).length ? "pointer" : "";
});

// ---- controls ----------------------------------------------------------------------------------------------------

function showWholeRoute() {
  const bounds = routeBounds();
  // Room at the right for the names of stations, which are written beside the line.
  const room = { paddingTopLeft: [32, 40], paddingBottomRight: [88, 40], maxZoom: 20, animate: false };
  if (bounds.isValid()) map.fitBounds(bounds, room);
}

const WholeRoute = L.Control.extend({
  options: { position: "bottomright" },
  onAdd: function () {
    const button = element("button", { type: "button", class: "whole-route", click: showWholeRoute }, "Whole route");
    L.DomEvent.disableClickPropagation(button);
    return button;
  },
});

// ---- paper -------------------------------------------------------------------------------------------------------

// Paper gets a copy of what the screen shows, with its scale drawn in: the map itself cannot be scaled to a sheet.
function copyForPrint() {
  const size = map.getSize(), copy = document.querySelector(".print-copy"), ratio = 2;
  copy.width = size.x * ratio;
  copy.height = size.y * ratio;
  const corner = map.containerPointToLayerPoint([0, 0]), bounds = L.bounds(corner, corner.add(size));
  const c = copy.getContext("2d");
  c.setTransform(ratio, 0, 0, ratio, -corner.x * ratio, -corner.y * ratio);
  drawRecord(c, viewOf(map, bounds), choice, 14);
  c.setTransform(ratio, 0, 0, ratio, 0, 0);
  drawScale(c, 16, size.y - 16);
}

function drawScale(c, x, y) {
  const bar = document.querySelector(".leaflet-control-scale-line");
  if (bar === null) return;
  c.strokeStyle = INK;
  c.lineWidth = 1.5;
  c.beginPath();
  c.moveTo(x, y - 6);
  c.lineTo(x, y);
  c.lineTo(x + bar.offsetWidth, y);
  c.lineTo(x + bar.offsetWidth, y - 6);
  c.stroke();
  c.fillStyle = INK;
  c.font = "14px sans-serif";
  c.fillText(bar.textContent, x + 4, y - 8);
}

// ---- start -------------------------------------------------------------------------------------------------------

map.addControl(L.control.zoom({ position: "topright", zoomInTitle: "Closer", zoomOutTitle: "Farther" }));
map.addControl(new WholeRoute());
map.addControl(L.control.scale({ metric: true, imperial: metresPerUnit !== 1, maxWidth: 140 }));
showWholeRoute();
map.addLayer(layer);
fillKey();
startSearch(select);
startOutstanding(select);
window.addEventListener("beforeprint", copyForPrint);

// Read-only, for tests and for whoever wants to count: what the record holds, and what was drawn last.
window.asbuilt = Object.freeze({
  joints: record.joints.rows,
  placed: order.length,
  gaps: record.gaps.rows,
  outstanding: outstanding.length,
  drawn: function () { return Object.assign({}, layer.drawn); },
  chosen: function () { return choice === null ? null : Object.assign({}, choice); },
  zoom: function () { return map.getZoom(); },
  // Where a joint is on the screen, in pixels of the window; null where it has no place.
  pixelOf: function (id) {
    const row = jointById.get(id);
    if (row === undefined || !isPlaced(row)) return null;
    const at = map.latLngToContainerPoint([joint("latitude", row), joint("longitude", row)]);
    const frame = map.getContainer().getBoundingClientRect();
    return [frame.left + at.x, frame.top + at.y];
  },
  readyAfter: performance.now(),
});
