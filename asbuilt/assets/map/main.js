// The page comes alive.

import { startAtOnce } from "./at_once.js";
import { startChosen } from "./chosen.js";
import { counts } from "./days.js";
import { order } from "./draw_joints.js";
import { followAddress, startEvening } from "./evening.js";
import { addWholeRoute, map, showWholeRoute, startGoing } from "./going.js";
import { startShortWays } from "./keys.js";
import { layer } from "./layer.js";
import { startList } from "./list.js";
import { outstanding } from "./outstanding.js";
import { startPrint } from "./print.js";
import { count, isPlaced, jointById, record } from "./record.js";
import { startSearch } from "./search.js";
import { fillSigns } from "./signs.js";
import { onChange, state } from "./state.js";
import { startTape, tapeState } from "./tape.js";
import { byId } from "./elements.js";
import { metresPerUnit } from "./text.js";
import { startTools } from "./tools.js";
import { spotOfJoint, toPlace } from "./world.js";

if (record.title.tiles) L.tileLayer(record.title.tiles.url, { maxZoom: 23, maxNativeZoom: record.title.tiles.max_zoom, referrerPolicy: "no-referrer" }).addTo(map);
map.addControl(L.control.zoom({ position: "topright", zoomInTitle: "Closer", zoomOutTitle: "Farther" }));
map.addControl(L.control.scale({ metric: true, imperial: metresPerUnit !== 1, maxWidth: 140 }));
addWholeRoute();
byId("find-part").hidden = false;
byId("opening").hidden = true;
startGoing();
startChosen();
startEvening();
startTools();
showWholeRoute();
map.addLayer(layer);
onChange(() => layer.redraw());
fillSigns();
startAtOnce();
startSearch();
startList();
startShortWays();
startTape(map);
startPrint();
followAddress();

// Read-only, for tests and for whoever wants to count: what the record holds, and what was drawn last.
window.asbuilt = Object.freeze({
  joints: count.joints,
  placed: order.length,
  gaps: count.gaps,
  outstanding: outstanding.length,
  drawn: () => ({ ...layer.drawn }),
  counts,
  tape: tapeState,
  chosen: () => (state.choice === null ? null : { ...state.choice }),
  zoom: () => map.getZoom(),
  // Where a joint is on the screen, in pixels of the window; null where it has no place.
  pixelOf: (id) => {
    const row = jointById.get(id);
    if (row === undefined || !isPlaced(row)) return null;
    const at = map.latLngToContainerPoint(toPlace(spotOfJoint(row))), frame = map.getContainer().getBoundingClientRect();
    return [frame.left + at.x, frame.top + at.y];
  },
  readyAfter: performance.now(),
});
