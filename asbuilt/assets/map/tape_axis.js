// The lane of the axis: stations, chainage equations, the phone, and a station that was chosen.

import { roundStep } from "./draw_line.js";
import { record } from "./record.js";
import { INK, PAPER } from "./signs.js";
import { state } from "./state.js";
import { drawBox } from "./tape_joints.js";
import { drawEquation, label, widestLabel } from "./tape_labels.js";
import { drawNeedle, setFont, stroke, upright } from "./tape_paper.js";
import { contentAt } from "./tape_record.js";
import { here, middle, pixelAt, sight } from "./tape_where.js";
import { metresPerUnit, stationText } from "./text.js";
import { nearestOnLine } from "./world.js";

function labelOf(value) { return stationText(value).replace(/\.0+$/, ""); }

// Values at round steps whose chainage is in sight, each with its pixel. Stated values jump at an equation, so that
// one may be there twice, or not at all.
function roundStations(step, seen) {
  return contentAt(here.line).regions.flatMap((region) => {
    const from = Math.max(region.from, seen.from), to = Math.min(region.to, seen.to), found = [];
    const most = (to - region.zero) / metresPerUnit + 1e-6;
    for (let k = Math.ceil((from - region.zero) / metresPerUnit / step - 1e-6); k * step <= most; k++) {
      found.push({ value: k * step, x: pixelAt(region.zero + k * step * metresPerUnit) });
    }
    return found;
  });
}

// What is stated at the ends of each stretch: one of them is as long as a label may be.
function statedEnds() {
  return contentAt(here.line).regions.flatMap(({ from, to, zero }) => [from, to].map((at) => labelOf(Math.round((at - zero) / metresPerUnit))));
}

function equations() {
  const { regions } = contentAt(here.line);
  return regions.slice(1).map((after, i) => {
    const at = after.from, label = (zero) => labelOf((at - zero) / metresPerUnit);
    return { x: pixelAt(at), back: label(regions[i].zero), ahead: label(after.zero) };
  });
}

export function drawAxis(c, lane) {
  const seen = sight(), taken = [], line = record.look.line, ends = [seen.from, seen.to].map(pixelAt);
  drawNeedle(c, middle(), lane);
  stroke(c, [[ends[0], lane.foot - 1], [ends[1], lane.foot - 1]], line, 2);
  setFont(c, lane.size, true);
  equations().forEach((one) => drawEquation(c, one, lane, taken));
  setFont(c, lane.size, false);
  roundStations(roundStep(here.perPixel, 12), seen).forEach((one) => upright(c, one.x, lane.foot - 4, lane.foot, line, 1));
  roundStations(roundStep(here.perPixel, widestLabel(c, statedEnds()) + 16), seen).forEach((one) => {
    upright(c, one.x, lane.foot - 8, lane.foot, line, 2);
    label(c, labelOf(one.value), one.x, lane, taken);
  });
  if (state.phone !== null) drawPhone(c, lane);
  const { choice } = state, isStation = choice !== null && choice.kind === "station" && choice.line === here.line;
  if (isStation) drawBox(c, pixelAt(choice.chainage), lane.foot - 5, 4, 4);
  return [];
}

// The triangle of the map, on its point, where the line comes nearest to the phone.
function drawPhone(c, lane) {
  const spot = L.CRS.EPSG3857.latLngToPoint(L.latLng(state.phone.latitude, state.phone.longitude), 0);
  const near = nearestOnLine(spot.x, spot.y, here.line);
  if (near === null) return;
  const x = pixelAt(near.chainage);
  c.fillStyle = PAPER;
  stroke(c, [[x, lane.foot - 1], [x - 7, lane.foot - 16], [x + 7, lane.foot - 16], [x, lane.foot - 1]], INK, 3);
  c.fill();
}
