// Joints that have a record but no place: no axis runs here. A box of its own, signs side by side from the left.

import { isMade } from "./days.js";
import { ringOfJoint, stampJoint } from "./signs.js";
import { isChosen } from "./state.js";
import { drawBox, isFaded } from "./tape_joints.js";
import { setFont, tone, widthOf, write } from "./tape_paper.js";
import { placeless } from "./tape_record.js";
import { here } from "./tape_where.js";

export function drawPlaceless(c, lane) {
  const rows = placeless.filter(isMade), y = (lane.top + lane.foot) / 2, pitch = 26;
  const left = leftOfBox(c, lane), room = Math.max(1, Math.floor((here.width - left - 76) / pitch)), shown = rows.slice(0, room);
  write(c, wordsOfBox(), 6, y, tone.quiet);
  c.strokeStyle = tone.quiet;
  c.lineWidth = 1;
  c.strokeRect(2.5, lane.top + 0.5, left + shown.length * pitch, lane.foot - lane.top - 2);
  if (rows.length > shown.length) write(c, "+ " + (rows.length - shown.length), left + shown.length * pitch + 8, y, tone.quiet);
  return shown.map((row, i) => {
    const x = left + (i + 0.5) * pitch;
    c.globalAlpha = isFaded(row) ? 0.22 : 1;
    stampJoint(c, row, 3.8, ringOfJoint(row), x, y);
    c.globalAlpha = 1;
    if (isChosen("joint", row)) drawBox(c, x, y, 12, (lane.foot - lane.top) / 2 - 2);
    return { left: x - 12, right: x + 12, choice: { kind: "joint", row } };
  });
}

function wordsOfBox() { return "no place: " + placeless.filter(isMade).length; }

function leftOfBox(c, lane) {
  setFont(c, lane.size, false);
  return 6 + widthOf(c, wordsOfBox()) + 10;
}
