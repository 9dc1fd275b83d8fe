// Paper gets a copy of what the screen shows, drawn for the sheet, with its scale and north in it: the map itself
// cannot be scaled to a sheet.

import { roundStep } from "./draw_line.js";
import { map } from "./going.js";
import { drawRecord } from "./layer.js";
import { INK, PAPER } from "./signs.js";
import { metresPerUnit, unitName } from "./text.js";
import { viewOf } from "./world.js";

const SHARPNESS = 2;

export function startPrint() { window.addEventListener("beforeprint", copyForPrint); }

function copyForPrint() {
  const size = map.getSize(), copy = document.querySelector(".print-copy");
  copy.width = size.x * SHARPNESS;
  copy.height = size.y * SHARPNESS;
  const corner = map.containerPointToLayerPoint([0, 0]), view = viewOf(map, L.bounds(corner, corner.add(size)));
  const c = copy.getContext("2d");
  c.setTransform(SHARPNESS, 0, 0, SHARPNESS, -corner.x * SHARPNESS, -corner.y * SHARPNESS);
  drawRecord(c, map, view, 16);
  c.setTransform(SHARPNESS, 0, 0, SHARPNESS, 0, 0);
  drawScale(c, view, 16, size.y - 16);
  drawNorth(c, 24, 20);
}

function drawScale(c, view, x, y) {
  const length = roundStep(view.metresPerPixel, 80), width = length * metresPerUnit / view.metresPerPixel;
  c.fillStyle = PAPER;
  c.fillRect(x - 6, y - 28, width + 80, 36);
  c.fillStyle = INK;
  [0, 0.5].forEach((half) => c.fillRect(x + half * width, y - 5 + 5 * (half ? 1 : 0), width / 2, 5));
  c.strokeStyle = INK;
  c.lineWidth = 1;
  c.strokeRect(x, y - 5, width, 10);
  c.font = "16px sans-serif";
  c.textBaseline = "alphabetic";
  c.fillText("0", x, y - 10);
  c.fillText(length + " " + unitName, x + width - 8, y - 10);
}

function drawNorth(c, x, y) {
  c.strokeStyle = c.fillStyle = INK;
  c.lineWidth = 2;
  c.font = "600 16px sans-serif";
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
