// Paper gets copies of what the screen shows, drawn for the sheet, with their scale and north in them: the map itself
// cannot be scaled to a sheet. No script learns in time which way the sheet lies, so that there is a copy for either
// way, and the style sheet shows the one that fits.

import { roundStep } from "./draw_line.js";
import { byId } from "./elements.js";
import { map } from "./going.js";
import { drawRecord } from "./layer.js";
import { INK, PAPER } from "./signs.js";
import { state } from "./state.js";
import { metresPerUnit, unitName } from "./text.js";
import { toPlace, viewAt } from "./world.js";

const SHARPNESS = 3, TEXT = 16;
// What is left for a map on the first sheet, about: A4, A3, Letter and Tabloid differ a little. The smaller the drawing,
// the larger its letters on paper: here 9 points on A4.
const SHEETS = [{ name: "across", width: 1000, height: 620 }, { name: "upright", width: 900, height: 720 }];

export function startPrint() {
  const copies = SHEETS.map(({ name }, i) => {
    const made = i ? document.createElement("canvas") : document.querySelector(".print-copy");
    made.className = "print-copy " + name;
    made.setAttribute("aria-hidden", "true");
    byId("map").appendChild(made);
    return made;
  });
  window.addEventListener("beforeprint", () => {
    showWholeList();
    SHEETS.forEach((sheet, i) => drawCopy(copies[i], sheet));
  });
}

// The list is made by the hundred; on paper nothing may be left out.
function showWholeList() {
  const more = byId("list-more");
  while (more !== null && !more.hidden) more.click();
}

function drawCopy(copy, { width, height }) {
  const c = copy.getContext("2d"), view = viewFor(width, height);
  copy.width = width * SHARPNESS;
  copy.height = height * SHARPNESS;
  copy.dataset.metresPerPixel = view.metresPerPixel / SHARPNESS;
  c.setTransform(SHARPNESS, 0, 0, SHARPNESS, 0, 0);
  state.sharpness = SHARPNESS;
  drawRecord(c, { getBounds: () => boundsOnEarth(view) }, view, TEXT);
  state.sharpness = null;
  drawScale(c, view, 16, height - 16);
  drawNorth(c, 24, 20);
}

// All that the screen shows, as large as it fits.
function viewFor(width, height) {
  const size = map.getSize(), centre = map.getCenter(), zoom = map.getZoom() + Math.log2(Math.min(width / size.x, height / size.y));
  const at = L.CRS.EPSG3857.latLngToPoint(centre, zoom), frame = L.bounds([0, 0], [width, height]);
  return viewAt(centre.lat, zoom, { originX: at.x - width / 2, originY: at.y - height / 2, bounds: frame, window: frame });
}

function boundsOnEarth(view) {
  const place = (at) => toPlace({ x: (at.x + view.originX) / view.scale, y: (at.y + view.originY) / view.scale });
  return L.latLngBounds(place(view.bounds.min), place(view.bounds.max));
}

function drawScale(c, view, x, y) {
  const length = roundStep(view.metresPerPixel, 80), width = length * metresPerUnit / view.metresPerPixel;
  const words = length + " " + unitName;
  c.font = TEXT + "px sans-serif";
  c.textBaseline = "alphabetic";
  c.fillStyle = PAPER;
  c.fillRect(x - 6, y - 30, width + c.measureText(words).width + 12, 38);
  c.fillStyle = INK;
  [0, 0.5].forEach((half) => c.fillRect(x + half * width, y - 5 + 5 * (half ? 1 : 0), width / 2, 5));
  c.strokeStyle = INK;
  c.lineWidth = 1;
  c.strokeRect(x, y - 5, width, 10);
  c.fillText("0", x, y - 10);
  c.fillText(words, x + width - 8, y - 10);
}

function drawNorth(c, x, y) {
  c.strokeStyle = c.fillStyle = INK;
  c.lineWidth = 2;
  c.font = "600 " + TEXT + "px sans-serif";
  c.textBaseline = "alphabetic";
  c.fillText("N", x - 6, y);
  c.beginPath();
  c.moveTo(x, y + 36);
  c.lineTo(x, y + 8);
  c.lineTo(x - 6, y + 18);
  c.moveTo(x, y + 8);
  c.lineTo(x + 6, y + 18);
  c.stroke();
}
