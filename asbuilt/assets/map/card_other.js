// The cards of a gap, of a finding and of a station.

import { gapAt, neighboursAt } from "./along.js";
import { idButton, jointButton } from "./card.js";
import { gapWords } from "./draw_line.js";
import { inDegrees } from "./earth.js";
import { button, element, pairs, said } from "./elements.js";
import { copiable } from "./give.js";
import { jointsOfFinding } from "./outstanding.js";
import { finding, gap, joint, record } from "./record.js";
import { signFor } from "./signs.js";
import { change, choose } from "./state.js";
import { latLonText, lengthText, many, range, stationText } from "./text.js";
import { whichWords } from "./which.js";
import { fromWgs84, lines, spotOn, toPlace } from "./world.js";

export function gapCard(g) {
  return [
    element("h2", { tabindex: "-1" }, gap("kind", g) === "not yet recorded" ? "Not yet recorded " : "Gap ", said(gap("gap_id", g))),
    element("p", { class: "verdict" }, signFor("gap", ""), element("strong", {}, gapWords(g))),
    pairs([
      ["From", [said(gap("from_station", g) || "station not recorded"), " ", idButton(gap("from_joint", g)) || "start of the line"]],
      ["To", [said(gap("to_station", g) || "station not recorded"), " ", idButton(gap("to_joint", g)) || "end of the line"]],
      ["Line", lines.length > 1 ? gap("line", g) : null],
      ["Kind", gap("kind", g)],
      ["Missing records, likeliest", numberText(gap("missing_records", g))],
      ["Missing records, with 95 %", missingRange(g)],
      ["Joints without a place, made between the two", numberText(gap("unplaced_here", g))],
      ["Why", gap("evidence", g)],
      ["Decision", gap("decision", g) || "none"],
    ]),
    element("p", { class: "note" }, "A missing record is not proof of a missing joint. " + record.title.caution),
  ];
}

const MOST_NAMED = 24;

// What was found, whether it is closed, and the way back to each joint that it concerns.
export function findingCard(f) {
  const rows = jointsOfFinding(f), rest = rows.length - MOST_NAMED, id = finding("finding_id", f);
  return [
    element("h2", { tabindex: "-1" }, "Finding ", said(id)),
    element("p", { class: "verdict" }, element("span", {}, element("strong", {}, finding("closed", f) ? "Closed by a decision" : "Open"),
      ", " + many(finding("joints_n", f), "joint"))),
    element("p", {}, said(finding("statement", f))),
    pairs([
      ["Kind", finding("kind", f)],
      ["Would put it right, in route.toml", finding("proposal", f)],
      ["Decision", finding("decision", f) || "none"],
    ]),
    element("p", { class: "named" }, rows.slice(0, MOST_NAMED).map((row) => jointButton(row, "Joint ", "")),
      rest > 0 ? "and " + many(rest, "more joint") : null),
    rows.length > 1 ? button("Pick out its joints on the map", () => change({ picked: { title: "Finding " + id, rows: new Set(rows) } })) : null,
    element("p", { class: "note" }, "A finding is a prompt for review. A decision on it names its id, " , said(id), ". " + record.title.caution),
  ];
}

function numberText(value) { return value === null ? null : String(value); }

function missingRange(g) {
  const low = gap("missing_low", g), high = gap("missing_high", g);
  return low === null || high === null ? null : range(low, high);
}

// A place on the alignment; or a position that somebody pasted (`given`), with the place on the line nearest to it.
export function stationCard(choice) {
  const at = spotOn(choice.line, choice.chainage), near = neighboursAt(choice.line, choice.chainage);
  const [latitude, longitude] = at === null ? [null, null] : fromWgs84(toPlace(at).lat, toPlace(at).lng);
  const inGap = gapAt(choice.line, choice.chainage), text = at === null ? null : latLonText(latitude, longitude);
  return [
    element("h2", { tabindex: "-1" }, "Station ", stationText(choice.stated)),
    choice.given ? element("p", {}, "Nearest place on the line to ", said(choice.given), ", ", lengthText(choice.away, 1), " from it.") : null,
    choice.given ? element("div", { id: "which" }, whichOf(choice)) : null,
    pairs([
      ["Line", choice.line],
      ["Place on the alignment, " + record.title.base_crs, text && copiable(text, "the place")],
      ["The same in degrees, minutes, seconds", text && inDegrees(latitude, longitude)],
      ["Joint before", nearText(near.before, choice.chainage)],
      ["Joint after", nearText(near.after, choice.chainage)],
      ["In gap", inGap === null ? null : button(said(gap("gap_id", inGap)), () => choose({ kind: "gap", row: inGap }))],
    ]),
    element("p", { class: "note" }, "A place on the design alignment, computed. " + record.title.caution),
  ];
}

// A station that was typed is where it was meant; a position is only as good as whatever told it.
export function whichOf(choice) { return whichWords(choice.line, choice.chainage, 1); }

function nearText(row, chainage) {
  if (row === null) return "none";
  return [jointButton(row, "", ""), " " + lengthText(Math.abs(joint("chainage_m", row) - chainage), 1)];
}
