// The record that the page carries, unpacked, and how its values are read.

// Deflated JSON in base64: a tenth of its plain size. The browser itself unpacks it.
async function unpacked(text) {
  const binary = atob(text), bytes = new Uint8Array(binary.length);
  for (let i = 0; i < bytes.length; i++) bytes[i] = binary.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Response(stream).json();
}

// Where the browser cannot (too old, or the file is damaged) the words that the page opened with stay, with the cause,
// and what a page without scripts offers is shown; no later module runs, for this one never ends.
function stay(fault) {
  const offered = new DOMParser().parseFromString(document.querySelector("noscript").textContent, "text/html").body;
  document.getElementById("map").hidden = true;  // an empty frame says nothing
  document.getElementById("opening").append(" What the browser says: " + fault.message + ".");
  document.getElementById("opening").after(...offered.children);
  return new Promise(() => {});
}

export const record = await unpacked(document.getElementById("record").textContent).catch(stay);

// A packed column (map_columns.py has the four forms) as a function that reads one row; what was not recorded is null.
function columnOf(column) {
  if (column === undefined) return () => null;
  if (Array.isArray(column)) return (row) => column[row];
  if ("all" in column) return () => column.all;
  if ("words" in column) return (row) => (column.at[row] < 0 ? null : column.words[column.at[row]]);
  const values = summed(column);
  return (row) => (isNaN(values[row]) ? null : values[row]);
}

// Steps added up, as plain numbers: a list of a hundred thousand values that may be null costs the first frame.
function summed({ unit, steps }) {
  const values = new Float64Array(steps.length), perOne = Math.round(1 / unit);  // dividing by a whole number is exact
  for (let i = 0, last = 0; i < steps.length; i++) {                             // where multiplying by 0.1 is not
    if (steps[i] !== null) last += steps[i];
    values[i] = steps[i] === null ? NaN : last / perOne;
  }
  return values;
}

// Returns a function that reads one value of a part of the record. A column is unpacked when it is first asked for.
function reader(part) {
  const columns = new Map();
  return (name, row) => {
    let column = columns.get(name);
    if (column === undefined) columns.set(name, column = columnOf(part.columns[name]));
    return column(row);
  };
}

export const joint = reader(record.joints);
export const gap = reader(record.gaps);
export const mark = reader(record.marks);
export const opinion = reader(record.opinions);
export const check = reader(record.checks);
export const limit = reader(record.limits);
export const setAside = reader(record.set_aside);
export const finding = reader(record.findings);
export const string_ = reader(record.strings);
export const testSection = reader(record.test_sections);
export const count = { joints: record.joints.rows, gaps: record.gaps.rows, marks: record.marks.rows };

// A column of numbers as the drawing needs it: NaN where nothing was recorded.
export function numbers(read, name, rows) {
  const list = new Float64Array(rows);
  for (let i = 0; i < rows; i++) {
    const value = read(name, i);
    list[i] = value === null ? NaN : value;
  }
  return list;
}

// Rows that belong to joints lie in the order of the joints: the first row of each joint follows from the counts.
function firstRows(counts) {
  const first = new Int32Array(counts.length + 1);
  counts.forEach((rows, i) => { first[i + 1] = first[i] + rows; });
  return first;
}

const firstCheck = firstRows(record.checks.counts), firstOpinion = firstRows(record.opinions.counts);

function rowsOf(first, row) {
  return Array.from({ length: first[row + 1] - first[row] }, (_, i) => first[row] + i);
}

export function checksOf(row) { return rowsOf(firstCheck, row); }
export function opinionsOf(row) { return rowsOf(firstOpinion, row); }

// Maps, not plain objects: an id such as "constructor" is an id like any other.
export const jointById = new Map();
for (let i = 0; i < count.joints; i++) jointById.set(joint("joint_id", i), i);

export const OUT = "out of window", NOT_RECORDED = "not recorded", CANNOT_TELL = "cannot tell", IN = "in window";

export function isInLine(row) { return joint("in_line", row) !== false; }

export function isPlaced(row) { return joint("latitude", row) !== null && joint("longitude", row) !== null; }

// A joint stands out where one of its verdicts is out of window or not recorded.
export function standsOut(row) {
  return isInLine(row) && ["fusion_verdict", "position_verdict"].some((name) => {
    const verdict = joint(name, row);
    return verdict === OUT || verdict === NOT_RECORDED;
  });
}

// The first i of 0..count-1 for which `holds` (which must stay true from there on), or count.
export function firstIndex(most, holds) {
  let low = 0, high = most;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (holds(middle)) high = middle; else low = middle + 1;
  }
  return low;
}
