// The needle in words: the station, the joint nearest to it and how far it is, its verdicts, the gap it is in.

import { gapAt, statedAt } from "./along.js";
import { isGapKnown, isMade } from "./days.js";
import { gapWords } from "./draw_line.js";
import { joint } from "./record.js";
import { state } from "./state.js";
import { nearestMade } from "./tape_record.js";
import { here } from "./tape_where.js";
import { lengthText, stationText } from "./text.js";
import { farText, whichAt } from "./which.js";

const AT_IT = 0.005;  // metres: what two decimals cannot tell apart

function stationWords() {
  const value = statedAt(here.line, here.chainage);
  return value === null ? "chainage " + lengthText(here.chainage, 2) : stationText(value);
}

function jointWords(row) {
  if (row === null) return "no joint";
  const far = joint("chainage_m", row) - here.chainage, name = "joint " + joint("joint_id", row);
  return Math.abs(far) < AT_IT ? name : name + " " + lengthText(Math.abs(far), 2) + (far > 0 ? " ahead" : " back");
}

function verdictWords(row) {
  return row === null ? "" : "fusion " + joint("fusion_verdict", row) + ", position " + joint("position_verdict", row);
}

function gapHere() {
  const g = gapAt(here.line, here.chainage);
  return g === null || !isGapKnown(g) ? "" : "in a gap: " + gapWords(g);
}

// At a position that somebody pasted: the joints that it may be as well.
function othersAt(near) {
  const { choice } = state, isThere = choice !== null && choice.kind === "station" && choice.given && choice.line === here.line
    && Math.abs(choice.chainage - here.chainage) <= 1.5 * here.perPixel;
  const found = isThere ? whichAt(here.line, choice.chainage) : null;
  return found === null || found.maybe.length < 2 ? []
    : found.maybe.filter((one) => one.row !== near && isMade(one.row)).slice(0, 2).map((one) => "or " + joint("joint_id", one.row) + " " + farText(one, 2));
}

// `brief` is what a narrow page has room for, `whole` everything. `row` is the joint that was walked to, or null.
export function needleWords(row) {
  const near = row === null ? nearestMade(here.line, here.chainage) : row;
  const brief = [stationWords(), jointWords(near), ...othersAt(near)].join(", ");
  return { brief, whole: [brief, verdictWords(near), gapHere()].filter((one) => one !== "").join(", ") };
}
