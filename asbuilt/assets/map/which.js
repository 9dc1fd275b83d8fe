// Which joint one stands beside at a place on a line: how little would make another the nearer one, and what tells them
// apart where the place alone cannot.

import { along, spacing } from "./along.js";
import { element, said } from "./elements.js";
import { firstIndex, joint } from "./record.js";
import { state } from "./state.js";
import { dayOfMinute, dayText, lengthText, many, metresPerUnit } from "./text.js";

const LOOKED_AT = 25;  // joints on either side: more could not be told apart by anybody
const MOST_NAMED = 4;

// The joints that lie nearest to a place, nearest first: {row, far}, metres along the line.
function nearest(line, chainage) {
  const rows = along.get(line) || [], next = firstIndex(rows.length, (i) => joint("chainage_m", rows[i]) > chainage);
  return rows.slice(Math.max(0, next - LOOKED_AT), next + LOOKED_AT)
    .map((row) => ({ row, ahead: joint("chainage_m", row) - chainage, far: Math.abs(joint("chainage_m", row) - chainage) }))
    .sort((a, b) => a.far - b.far || a.ahead - b.ahead);
}

// A joint that nobody knows the radius of is known no better than to a pipe.
function radiusOf(row) {
  const radius = joint("radius95_m", row);
  return radius === null ? spacing : radius;
}

// The two nearest joints; the error along the line, metres, that would turn them round; and all that it may be: those
// whose error is within the accuracy of the phone, if there is a position of it, or within the 95 % radii. Null where
// the line has less than two joints.
export function whichAt(line, chainage) {
  const near = nearest(line, chainage), blur = state.phone === null ? 0 : state.phone.accuracy;
  if (near.length < 2) return null;
  const turns = (one) => (one.far - near[0].far) / 2;
  const maybe = near.filter((one) => one === near[0] || turns(one) <= Math.max(blur, radiusOf(near[0].row), radiusOf(one.row)));
  return { near: near[0], next: near[1], margin: turns(near[1]), maybe };
}

// ---- words -----------------------------------------------------------------------------------------------------------

// Each way to tell two joints in a trench apart, as the record has it; null where it does not.
const MARKS = [
  ["pipe numbers", (row) => {
    const pipes = ["pipe_a", "pipe_b"].map((name) => joint(name, row)).filter((one) => one !== null);
    return pipes.length ? (pipes.length > 1 ? "pipes " : "pipe ") + pipes.join(" and ") : null;
  }],
  ["date", (row) => (joint("fused_minute", row) === null ? null : dayText(dayOfMinute(joint("fused_minute", row))))],
  ["machine", (row) => (joint("machine", row) === null ? null : "machine " + joint("machine", row))],
];

// Names of the ways in which some joints differ: "pipe numbers, date and machine".
function differencesOf(rows) {
  const names = MARKS.filter(([, mark]) => new Set(rows.map(mark)).size > 1).map(([name]) => name);
  return names.length > 1 ? names.slice(0, -1).join(", ") + " and " + names[names.length - 1] : names.join("");
}

// A length that is never written as nothing.
function leastText(length, decimals) {
  const step = metresPerUnit / Math.pow(10, decimals);
  return length < step / 2 ? "less than " + lengthText(step, decimals) : lengthText(length, decimals);
}

export function farText(one, decimals) {
  return leastText(one.far, decimals) + (one.ahead > 0 ? " ahead" : " back");
}

function marksOf(row) {
  const marks = MARKS.map(([, mark]) => mark(row)).filter((one) => one !== null);
  return marks.length ? [": ", said(marks.join(", "))] : ": pipe numbers, date and machine not recorded";
}

// `decimals`: of the distances. Nothing where the line has less than two joints.
export function whichWords(line, chainage, decimals) {
  const found = whichAt(line, chainage);
  if (found === null) return null;
  const { near, next, margin, maybe } = found, id = (one) => said(joint("joint_id", one.row));
  const turn = ["An error of " + leastText(margin, 1) + " along the line would make ", id(next), " the nearer one."];
  if (maybe.length < 2) {
    return element("p", {}, "Nearest joint along the line: ", id(near), ", " + farText(near, decimals) + "; then ", id(next), ", " + farText(next, decimals) + ". ", turn);
  }
  return [element("p", {}, element("strong", {}, leadWords(maybe.map((one) => one.row)))), listOf(maybe, decimals), element("p", {}, turn)];
}

function leadWords(rows) {
  const by = differencesOf(rows), named = rows.length > 2 ? "Which of these " + rows.length : "Which of the two";
  return named + " it is cannot be told from this position: "
    + (by === "" ? "and the record has no pipe numbers, date or machine that would tell them apart." : "tell them by " + by + ".");
}

function listOf(maybe, decimals) {
  const rest = maybe.length - MOST_NAMED;
  return element("ul", { class: "maybe" }, maybe.slice(0, MOST_NAMED).map((one) => element("li", {},
    element("strong", {}, said(joint("joint_id", one.row))), ", " + farText(one, decimals), marksOf(one.row))),
  rest > 0 ? element("li", {}, "and " + many(rest, "more joint")) : null);
}
