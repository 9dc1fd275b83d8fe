// The phone position on the map: a triangle on its point, with the circle that the device itself states.

import { INK, PAPER } from "./signs.js";
import { state } from "./state.js";
import { isSeen, metresPerPixel, screenX, screenY } from "./world.js";

export function drawPhone(c, view, labels) {
  const { phone } = state;
  if (phone === null) return;
  const spot = L.CRS.EPSG3857.latLngToPoint(L.latLng(phone.latitude, phone.longitude), 0);
  const x = screenX(view, spot.x), y = screenY(view, spot.y), r = phone.accuracy / metresPerPixel(phone.latitude, Math.log2(view.scale));
  if (!isSeen(view, x, y, r)) return;
  c.beginPath();
  c.arc(x, y, r, 0, 2 * Math.PI);
  c.fillStyle = "rgba(17, 17, 17, 0.05)";
  c.fill();
  c.strokeStyle = INK;
  c.lineWidth = 1.5;
  c.setLineDash([2, 4]);
  c.stroke();
  c.setLineDash([]);
  c.beginPath();
  c.moveTo(x, y);
  c.lineTo(x - 9, y - 20);
  c.lineTo(x + 9, y - 20);
  c.closePath();
  c.fillStyle = PAPER;
  c.fill();
  c.lineWidth = 3;
  c.stroke();
  // Under its point, or wherever else there is room.
  [[0, 1], [1, 0], [-1, 0], [0, -1]].find(([nx, ny]) => labels.set("phone position", x, y, { nx, ny, away: ny < 0 ? 26 : 12, bold: true }));
}
