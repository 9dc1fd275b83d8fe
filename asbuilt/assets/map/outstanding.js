// What is outstanding: out of window, not recorded, missing records, without a place, or set aside; and not closed by a
// decision: one that is stale, or asks for work or for more, stands beside its item and closes nothing.

import { lineNames } from "./along.js";
import { gapWords } from "./draw_line.js";
import { NOT_RECORDED, OUT, count, finding, gap, isInLine, isPlaced, joint, jointById, record, setAside } from "./record.js";
import { many } from "./text.js";

function jointWhy(row) {
  const why = [], fusion = joint("fusion_verdict", row), place = joint("position_verdict", row);
  if (fusion === OUT || fusion === NOT_RECORDED) why.push("fusion " + fusion);
  if (place === OUT || place === NOT_RECORDED) why.push("position " + place);
  if (!isPlaced(row)) why.push("without a place");
  if (joint("number_open", row)) why.push("number not clear");
  return why;
}

// An item of a list: what it leads to (null: nothing on the map), where it lies, its name, why it is there.
export function jointItem(row, why) {
  return { choice: { kind: "joint", row }, ...placeInList(row), name: ["Joint ", joint("joint_id", row)], why, words: null };
}

function placeInList(row) {
  const placed = isPlaced(row);
  return { line: joint("line", row), chainage: placed ? joint("chainage_m", row) : null, station: placed ? joint("station", row) : null };
}

function joints() {
  const items = [];
  for (let row = 0; row < count.joints; row++) {
    const why = isInLine(row) && !joint("closed", row) ? jointWhy(row) : [];
    if (why.length) items.push(jointItem(row, why));
  }
  return items;
}

// What is still to come is no gap in the record; where only a place is missing, the joint itself is outstanding.
function gaps() {
  const items = [];
  for (let g = 0; g < count.gaps; g++) {
    if (gap("missing_records", g) === 0 || gap("closed", g)) continue;
    items.push({
      choice: { kind: "gap", row: g }, line: gap("line", g), chainage: gap("from_chainage_m", g), station: gap("from_station", g),
      name: ["Gap ", gap("gap_id", g)], why: ["gap"], words: gapWords(g),
    });
  }
  return items;
}

// What has no card of its own shows its decision in the list.
function elsewhere(name, why, words, decision) {
  const said = decision === null ? words : words + " Decision: " + decision + ".";
  return { choice: null, line: null, chainage: null, station: null, name, why: [why], words: said };
}

function notClosed(rows, read) {
  return Array.from({ length: rows }, (_, i) => i).filter((i) => !read("closed", i));
}

function rowsSetAside() {
  return notClosed(record.set_aside.rows, setAside).map((i) => {
    const sheet = setAside("sheet", i), row = setAside("source_row", i);
    const place = (setAside("source_file", i) || "") + (sheet === null ? "" : ", " + sheet) + (row === null ? "" : ", row " + row);
    return elsewhere(["Source row ", place], "row set aside", setAside("reason", i), setAside("decision", i));
  });
}

// What was found of one joint or of many stands where the first of them lies, and leads to its own card.
function findings() {
  return notClosed(record.findings.rows, finding).map((i) => {
    const [first] = jointsOfFinding(i), name = ["Finding, ", many(finding("joints_n", i), "joint")];
    const item = elsewhere(name, "finding: " + finding("kind", i), finding("statement", i), finding("decision", i));
    return { ...item, ...(first === undefined ? {} : placeInList(first)), choice: { kind: "finding", row: i } };
  });
}

// ---- which findings concern which joints -----------------------------------------------------------------------------

// Ids stand in one text, with a comma and a blank between them; an id that holds these itself is looked for as a whole.
function joinFindings() {
  const of = new Map(), odd = Array.from(jointById.keys()).filter((id) => id.includes(", "));
  for (let f = 0; f < record.findings.rows; f++) {
    const text = finding("joints", f) || "", ids = text.split(", ").concat(odd.filter((id) => (", " + text + ", ").includes(", " + id + ", ")));
    of.set(f, ids.filter((id) => jointById.has(id)).map((id) => jointById.get(id)));
  }
  return of;
}

const jointsOf = joinFindings(), findingsOf_ = new Map();
jointsOf.forEach((rows, f) => rows.forEach((row) => {
  if (!findingsOf_.has(row)) findingsOf_.set(row, []);
  findingsOf_.get(row).push(f);
}));

// Rows of the joints that a finding concerns, in its own order; and the findings that concern a joint, closed ones too.
export function jointsOfFinding(f) { return jointsOf.get(f); }
export function findingsOf(row) { return findingsOf_.get(row) || []; }

// By line and chainage; what has no place comes last, for it has no order along the line.
export function alongTheLine(items) {
  const place = new Map(lineNames.map((name, i) => [name, i]));
  const keyOf = (item) => (item.chainage === null ? [Infinity, 0] : [place.has(item.line) ? place.get(item.line) : 1e6, item.chainage]);
  const keyed = items.map((item, i) => ({ item, key: [...keyOf(item), i] }));
  keyed.sort((a, b) => (a.key[0] === b.key[0] ? a.key[1] - b.key[1] || a.key[2] - b.key[2] : a.key[0] - b.key[0]));
  return keyed.map((one) => one.item);
}

export const outstanding = alongTheLine([...joints(), ...gaps(), ...findings(), ...rowsSetAside()]);
