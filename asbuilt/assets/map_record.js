// The record that the page carries, read once. All parts of the map's script share one scope (the page puts them
// into one script, in order), so that nothing but `window.asbuilt` is visible from outside.

const record = JSON.parse(document.getElementById("record").textContent);

// A column is a list; or {words, at} where few values repeat; or absent where nothing was recorded.
// Whatever was not recorded is null.
function reader(table) {
  return function (name, row) {
    const column = table.columns[name];
    if (column === undefined) return null;
    if (Array.isArray(column)) return column[row];
    return column.at[row] < 0 ? null : column.words[column.at[row]];
  };
}

const joint = reader(record.joints);
const gap = reader(record.gaps);
const mark = reader(record.marks);
const position = reader(record.positions);
const check = reader(record.checks);
const limit = reader(record.checks.limits);
const setAside = reader(record.set_aside);
const finding = reader(record.findings);

// Rows that belong to joints lie in the order of the joints: the first row of each joint follows from the counts.
function firstRows(table) {
  const counts = Array.isArray(table.counts)
    ? table.counts
    : table.counts.at.map(function (code) { return table.counts.words[code]; });
  const first = [0];
  counts.forEach(function (count) { first.push(first[first.length - 1] + count); });
  return first;
}

const firstCheck = firstRows(record.checks);
const firstPosition = firstRows(record.positions);

function rowsOf(first, row) {
  const rows = [];
  for (let i = first[row]; i < first[row + 1]; i++) rows.push(i);
  return rows;
}

// Maps, not plain objects: an id such as "constructor" is an id like any other.
const jointById = new Map();
for (let i = 0; i < record.joints.rows; i++) jointById.set(joint("joint_id", i), i);

function isInLine(row) {
  return joint("in_line", row) !== false;
}

function isPlaced(row) {
  return joint("latitude", row) !== null && joint("longitude", row) !== null;
}

// The joints of each line in the order in which they lie: neighbours and the search by station read this.
function jointsAlong() {
  const along = new Map();
  record.lines.forEach(function (line) { along.set(line.line, []); });
  for (let i = 0; i < record.joints.rows; i++) {
    if (!isPlaced(i) || !isInLine(i) || joint("chainage_m", i) === null) continue;
    const line = joint("line", i);
    if (!along.has(line)) along.set(line, []);
    along.get(line).push(i);
  }
  along.forEach(function (rows) {
    rows.sort(function (a, b) { return joint("chainage_m", a) - joint("chainage_m", b); });
  });
  return along;
}

const along = jointsAlong();

// Returns the last joint before a chainage and the first after it (rows, or null). `self` is no neighbour of itself.
function neighboursAt(line, chainage, self) {
  const rows = (along.get(line) || []).filter(function (row) { return row !== self; });
  const next = firstIndex(rows.length, function (i) { return joint("chainage_m", rows[i]) > chainage; });
  return { before: next > 0 ? rows[next - 1] : null, after: next < rows.length ? rows[next] : null };
}

// Two joints may stand at one chainage, so a joint's neighbours are read from its place in the order.
function neighboursOf(row) {
  const rows = along.get(joint("line", row)) || [];
  const at = rows.indexOf(row);
  if (at < 0) return neighboursAt(joint("line", row), joint("chainage_m", row), row);
  return { before: at > 0 ? rows[at - 1] : null, after: at + 1 < rows.length ? rows[at + 1] : null };
}

// The first i of 0..count-1 for which `holds` (which must stay true from there on), or count.
function firstIndex(count, holds) {
  let low = 0, high = count;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (holds(middle)) high = middle; else low = middle + 1;
  }
  return low;
}

function gapAt(line, chainage) {
  for (let g = 0; g < record.gaps.rows; g++) {
    if (gap("line", g) === line && gap("from_chainage_m", g) <= chainage && chainage <= gap("to_chainage_m", g)) return g;
  }
  return null;
}

// The usual distance between neighbours decides how large a joint is drawn and how close the map goes.
function usualSpacing() {
  const steps = [];
  along.forEach(function (rows) {
    for (let i = 1; i < rows.length; i++) steps.push(joint("chainage_m", rows[i]) - joint("chainage_m", rows[i - 1]));
  });
  steps.sort(function (a, b) { return a - b; });
  const middle = steps[steps.length >> 1];
  return middle > 0.5 ? middle : 12;  // metres; 12 where hardly a joint is placed
}

const spacing = usualSpacing();
