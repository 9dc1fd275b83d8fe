// The lanes of the tape: which there are, how high they are, their names, and the needle over them.

import { INK } from "./signs.js";
import { drawAxis } from "./tape_axis.js";
import { drawJointLane } from "./tape_joints.js";
import { setFont, stroke, tone, upright, widthOf, write } from "./tape_paper.js";
import { drawPlaceless } from "./tape_placeless.js";
import { drawSections, drawStrings } from "./tape_reaches.js";
import { contentAt, placeless } from "./tape_record.js";
import { here, middle } from "./tape_where.js";

// Each lane draws itself and returns what a tap in it means: [{left, right, choice}].
const LANES = [
  { name: "station", heights: [18, 20], isThere: () => true, draw: drawAxis },
  { name: "joints", heights: [37, 42], isThere: (has) => has.joints.rows.length || has.gaps.length, draw: drawJointLane },
  { name: "strings", heights: [17, 20], isThere: (has) => has.strings.length || has.ties.length, draw: drawStrings },
  { name: "tests", heights: [17, 20], isThere: (has) => has.sections.length, draw: drawSections },
  { name: "no place", heights: [18, 20], isThere: () => placeless.length, draw: drawPlaceless, isApart: true },
];

// The lanes of the line that is shown, from the top down. A finger needs more than a pointer, and large letters more than
// small ones. All of them with the overview and the words are 172 pixels high, or 190.
export function lanesFor(size) {
  let top = 0;
  return LANES.filter((lane) => lane.isThere(contentAt(here.line))).map((lane) => {
    const height = lane.heights[size < 16 ? 0 : 1];
    top += height;
    return { ...lane, size, top: top - height, foot: top };
  });
}

// ---- names and needle ------------------------------------------------------------------------------------------------

// Lanes that run along the axis have their names on a slip at the left, under which nothing is drawn.
export function nameLanes(c, lanes) {
  lanes.slice(1).forEach((lane) => stroke(c, [[0, lane.top], [here.width, lane.top]], tone.hair, 1));
  lanes.filter((lane) => !lane.isApart).forEach((lane) => {
    c.fillStyle = tone.paper;
    c.fillRect(0, lane.top + 0.5, here.names, lane.foot - lane.top - 1);
    setFont(c, lane.size, false);
    write(c, lane.name, 6, (lane.top + lane.foot) / 2, tone.quiet);
  });
  upright(c, here.names, 0, axisFoot(lanes), tone.hair, 1);
}

// The lower edge of the lanes that run along the axis.
export function axisFoot(lanes) {
  return lanes.filter((lane) => !lane.isApart).pop().foot;
}

export function widthOfNames(c, lanes) {
  setFont(c, lanes[0].size, false);
  return Math.ceil(Math.max(...lanes.filter((lane) => !lane.isApart).map((lane) => widthOf(c, lane.name)))) + 14;
}

export function drawHead(c) {
  const x = middle();
  c.fillStyle = INK;
  stroke(c, [[x - 6, 0], [x + 6, 0], [x, 7], [x - 6, 0]], INK, 1);
  c.fill();
}
