// The card: everything about one joint, beside the map or under it.

import { neighboursOf, gapAt } from "./along.js";
import { checksSection, fieldPair, otherQuantities } from "./card_checks.js";
import { photoSection } from "./card_photo.js";
import { inDegrees } from "./earth.js";
import { button, element, pairs, said, section } from "./elements.js";
import { copiable, gpxButton } from "./give.js";
import { findingsOf } from "./outstanding.js";
import { NOT_RECORDED, finding, isInLine, isPlaced, joint, jointById, opinion, opinionsOf, record } from "./record.js";
import { signFor } from "./signs.js";
import { choose } from "./state.js";
import { capital, figure, latLonText, lengthText, minuteText, offsetText, sentences } from "./text.js";
import { lines, toWgs84 } from "./world.js";

const PLACED = {
  survey: "a measurement on the pipe",
  fix: "the recorded fix; computed, not surveyed",
  tally: "the lengths of the pipes, without a fix; inferred, not surveyed",
  "fix+tally": "the recorded fixes and the lengths of the pipes; computed, not surveyed",
  unplaced: "nothing: it has no place",
};

export function jointCard(row, among) {
  return [
    element("h2", { tabindex: "-1" }, "Joint ", said(joint("joint_id", row))),
    jointState(row),
    among > 1 ? element("p", { class: "note" }, among + " joints are drawn on this spot: tap it again for the next.") : null,
    verdictLine("Fusion", "fusion", joint("fusion_verdict", row), recordedText(row)),
    verdictLine("Position", "position", joint("position_verdict", row), null),
    concerns(row),
    neighbours(row),
    reasons(row),
    placeSection(row),
    photoSection(row),
    checksSection(row),
    otherQuantities(row),
    opinionsSection(row),
    recordSection(row),
  ];
}

function verdictLine(name, kind, verdict, more) {
  const words = verdict || NOT_RECORDED;
  return element("p", { class: "verdict" }, signFor(kind, words),
    element("span", {}, name + ": ", element("strong", {}, words), more ? " " + more : null));
}

// The findings that concern a joint stand beside its verdicts: one may be all that keeps it open.
function concerns(row) {
  const found = findingsOf(row);
  if (!found.length) return null;
  return element("ul", { class: "concerns" }, found.map((f) => element("li", {},
    button(["Finding ", said(finding("finding_id", f))], () => choose({ kind: "finding", row: f })),
    element("span", {}, " ", element("strong", {}, finding("closed", f) ? "closed by a decision" : "open"), ": ", said(finding("statement", f))))));
}

function jointState(row) {
  const kind = joint("kind", row), notes = [];
  if (!isInLine(row)) notes.push("Not in the line (cut out, or a trial): it is in no count.");
  if (kind !== null && kind !== "production") notes.push("Kind: " + kind + ".");
  return notes.length ? element("p", { class: "state" }, notes.join(" ")) : null;
}

function recordedText(row) {
  const of = joint("procedure_n", row);
  return of === null ? null : "(" + (joint("recorded_n", row) || 0) + " of " + of + " quantities recorded)";
}

function reasons(row) {
  const why = sentences(joint("reasons", row)), decision = joint("decision", row);
  return [
    why.length ? element("ul", { class: "reasons" }, why.map((one) => element("li", {}, said(one)))) : null,
    element("p", {}, "Decision: ", decision === null ? "none" : said(decision)),
  ];
}

// ---- neighbours ------------------------------------------------------------------------------------------------------

// A button that leads to another joint.
export function jointButton(row, before, after) {
  return button([before, said(joint("joint_id", row)), after], () => choose({ kind: "joint", row }));
}

export function idButton(id) {
  if (id === null) return null;
  return jointById.has(id) ? jointButton(jointById.get(id), "", "") : said(id);
}

function neighbours(row) {
  if (!isPlaced(row) || joint("chainage_m", row) === null) return null;
  const near = neighboursOf(row), here = joint("chainage_m", row);
  function lead(other, before, after) {
    if (other === null) return null;
    const isAcross = gapAt(joint("line", row), (joint("chainage_m", other) + here) / 2) !== null;
    const far = lengthText(Math.abs(joint("chainage_m", other) - here), 1) + (isAcross ? " (gap)" : "");
    return jointButton(other, before, ", " + far + after);
  }
  return element("nav", { class: "neighbours", "aria-label": "Neighbours along the line" }, lead(near.before, "← ", ""), lead(near.after, "", " →"));
}

// ---- place -----------------------------------------------------------------------------------------------------------

function placeSection(row) {
  if (!isPlaced(row)) return section("Position", [element("p", {}, "This joint has no place on the line."), pairs([["Depth and cover", depthOf(row)]])]);
  return section("Position", [
    pairs([
      ["Station and offset", [stationOf(row), ", ", offsetText(joint("offset_m", row)) || "offset not known"]],
      ...coordinates(row),
      ["Elevation, as recorded", lengthText(joint("elevation_m", row), 3)],
      ["Depth and cover", depthOf(row) || "not recorded"],
      ["Placed from", PLACED[joint("placed_by", row)] || joint("placed_by", row)],
      ["95 % radius", lengthText(joint("radius95_m", row), 2)],
      ["Standard deviation", deviationText(row)],
      ["On this leg with", probabilityText(joint("leg_probability", row), joint("candidates_n", row))],
      ["Second nearest place", farther(joint("margin_m", row))],
      ["Beyond the end of the line", joint("beyond_m", row) === 0 ? null : lengthText(joint("beyond_m", row), 2)],
    ]),
    element("p", { class: "note" }, record.title.wgs84),
    element("p", { class: "note" }, "R and L: right and left, looking up-chainage. " + record.title.caution),
    gpxButton("Waypoint for a receiver (GPX)", [row], joint("joint_id", row)),
  ]);
}

// Whether WGS 84 is another frame than the record's, and is reached.
const isShifted = record.shift !== null && [...record.shift.latitude, ...record.shift.longitude].some((part) => part !== 0);

// The position in each form that somebody may have to type, with the name of its frame.
function coordinates(row) {
  const latitude = joint("latitude", row), longitude = joint("longitude", row), { base_crs: base, crs } = record.title;
  const forms = [[base, latLonText(latitude, longitude)], [base + ", degrees, minutes, seconds", inDegrees(latitude, longitude)],
    [crs, eastNorthText(row)]];
  if (isShifted) forms.push(["WGS 84, for a phone", latLonText(...toWgs84(latitude, longitude))]);
  return forms.filter(([, text]) => text !== null).map(([frame, text]) =>
    [frame, copiable(text, "the position in " + frame)]);
}

// As the Python side says it, one measurement a paragraph; null where nobody measured.
function depthOf(row) {
  const told = joint("depths", row);
  return told === null ? null : told.split("\n").map((one) => element("p", { class: "depth" }, said(capital(one))));
}

function stationOf(row) {
  const station = joint("station", row);
  return [said(station === null ? "station not recorded" : station), lines.length > 1 ? [" on ", said(joint("line", row))] : null];
}

function eastNorthText(row) {
  const e = joint("easting", row), n = joint("northing", row);
  return e === null || n === null ? null : e.toFixed(2) + " E, " + n.toFixed(2) + " N";
}

function deviationText(row) {
  const s = joint("chainage_sd_m", row), o = joint("offset_sd_m", row);
  return s === null || o === null ? null : lengthText(s, 2) + " along, " + lengthText(o, 2) + " across";
}

function farther(margin) {
  return margin === null ? null : lengthText(margin, 1) + " farther from the fix";
}

function probabilityText(probability, candidates) {
  if (probability === null) return null;
  const percent = probability > 0.999 ? "more than 99.9 %" : figure(100 * probability, 3) + " %";
  return percent + (candidates > 1 ? ", " + candidates + " places in reach" : "");
}

// ---- where else, and where from --------------------------------------------------------------------------------------

function opinionsSection(row) {
  const rows = opinionsOf(row);
  if (!rows.length && joint("fix_latitude", row) === null) return null;
  return section("Other opinions of its place", element("ul", { class: "opinions" },
    joint("fix_latitude", row) === null ? null : element("li", {}, "Recorded fix: " + fixText(row)),
    rows.map((p) => element("li", {}, capital(opinion("method", p) || "method not recorded"), ": ", said(opinionText(p))))));
}

function fixText(row) {
  const radius = joint("fix_radius95_m", row);
  return latLonText(joint("fix_latitude", row), joint("fix_longitude", row)) + (radius === null ? "" : ", 95 % radius " + lengthText(radius, 2));
}

function opinionText(p) {
  const offset = offsetText(opinion("offset_m", p)), radius = opinion("radius95_m", p), probability = opinion("probability", p);
  return [opinion("station", p), offset === null ? null : "offset " + offset,
    radius === null ? null : "95 % radius " + lengthText(radius, 2),
    probability === null ? null : "probability " + figure(100 * probability, 3) + " %"].filter((one) => one !== null).join(", ");
}

// What a reader asks of the record itself, in the order of the work.
const OF_THE_RECORD = ["joint", "string", "crew", "operator", "machine", "method", "procedure", "pipe_a", "pipe_b", "length_added_m", "order",
  "material", "replaces", "fix", "elevation_of", "visual", "photo", "trace", "trace_soak_time_s", "trace_removal_time_s",
  "trace_ramp_time_s", "trace_cooling_time_min", "trace_bead_pressure_mpa", "trace_fusion_pressure_mpa",
  "trace_heater_temperature_c", "trace_cause", "remarks"];

function recordSection(row) {
  const list = [["Fused at", minuteText(joint("fused_minute", row), joint("fused_zone", row))]];
  OF_THE_RECORD.forEach((column) => list.push(fieldPair(column, row)));
  list.push(["Source", sourceOf(row)]);
  return section("Record", pairs(list));
}

function sourceOf(row) {
  const file = joint("source_file", row), sheet = joint("source_sheet", row), at = joint("source_row", row);
  return file === null ? null : [said(file), sheet === null ? "" : [", ", said(sheet)], at === null ? "" : ", row " + at];
}
