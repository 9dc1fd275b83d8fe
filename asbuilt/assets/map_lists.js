// The search, and the list of what is outstanding: the map's table for those who cannot use the map.

const MOST_FOUND = 8, ROWS_AT_ONCE = 100;

// ---- search ------------------------------------------------------------------------------------------------------

// Joints whose id or number holds the text: the whole id first, then those that begin with it, then the others.
function jointsNamed(text) {
  const wanted = text.trim().toLowerCase(), found = [];
  if (wanted === "") return found;
  for (let i = 0; i < record.joints.rows; i++) {
    const id = joint("joint_id", i).toLowerCase(), paper = (joint("joint", i) || "").toLowerCase();
    const at = id.indexOf(wanted);
    if (at < 0 && paper.indexOf(wanted) < 0) continue;
    found.push({ kind: "joint", row: i, rank: id === wanted || paper === wanted ? 0 : at === 0 ? 1 : 2 });
  }
  return found.sort(function (a, b) { return a.rank - b.rank || a.row - b.row; });
}

function stationsNamed(text) {
  const value = statedOf(text), found = [];
  if (value === null) return found;
  lines.forEach(function (line) {
    chainagesOf(line.name, value).forEach(function (chainage) {
      found.push({ kind: "station", line: line.name, chainage: chainage, stated: value });
    });
  });
  return found;
}

function foundButton(choice, select) {
  const words = choice.kind === "joint"
    ? ["Joint ", said(joint("joint_id", choice.row)), joint("station", choice.row) === null ? ", without a place" : [" at ", said(joint("station", choice.row))]]
    : ["Station ", stationText(choice.stated), lines.length > 1 ? [" on ", said(choice.line)] : null];
  return element("button", { type: "button", click: function () { select(choice); } }, words);
}

// Shows what was found for the text and returns it, best first.
function showFound(text, select) {
  const place = document.getElementById("found"), joints = jointsNamed(text), stations = stationsNamed(text);
  const exact = joints.filter(function (one) { return one.rank === 0; });
  const others = joints.filter(function (one) { return one.rank > 0; });
  // Whoever writes a plus sign asks for a station; a bare number is more often part of a joint's.
  const found = text.indexOf("+") >= 0 ? exact.concat(stations, others) : exact.concat(others, stations);
  place.textContent = "";
  if (text.trim() === "") return [];
  add(place, found.slice(0, MOST_FOUND).map(function (choice) { return foundButton(choice, select); }));
  if (found.length > MOST_FOUND) add(place, element("p", {}, "and " + (found.length - MOST_FOUND) + " more: type on"));
  if (!found.length) add(place, element("p", {}, "No joint and no station fits “", said(text), "”."));
  return found;
}

function startSearch(select) {
  const box = document.getElementById("find");
  function choose(choice) {
    box.value = "";
    document.getElementById("found").textContent = "";
    select(choice);
  }
  box.addEventListener("input", function () { showFound(box.value, choose); });
  box.addEventListener("keydown", function (event) {
    if (event.key !== "Enter") return;
    const found = showFound(box.value, choose);
    if (found.length) choose(found[0]);
  });
}

// ---- outstanding -------------------------------------------------------------------------------------------------

function jointWhy(row) {
  const why = [], fusion = joint("fusion_verdict", row), place = joint("position_verdict", row);
  if (fusion === OUT || fusion === NOT_RECORDED) why.push("fusion " + fusion);
  if (place === OUT || place === NOT_RECORDED) why.push("position " + place);
  if (!isPlaced(row)) why.push("without a place");
  if (joint("number_open", row)) why.push("number not clear");
  return why;
}

function outstandingJoints() {
  const items = [];
  for (let i = 0; i < record.joints.rows; i++) {
    const why = isInLine(i) && joint("decision", i) === null ? jointWhy(i) : [];
    if (!why.length) continue;
    items.push({
      choice: { kind: "joint", row: i }, line: joint("line", i), chainage: isPlaced(i) ? joint("chainage_m", i) : null,
      station: isPlaced(i) ? joint("station", i) : null, name: ["Joint ", joint("joint_id", i)], why: why,
    });
  }
  return items;
}

// What is still to come is no gap in the record; where only a place is missing, the joint itself is outstanding.
function outstandingGaps() {
  const items = [];
  for (let g = 0; g < record.gaps.rows; g++) {
    if (gap("missing_records", g) === 0 || gap("decision", g) !== null) continue;
    items.push({
      choice: { kind: "gap", row: g }, line: gap("line", g), chainage: gap("from_chainage_m", g),
      station: gap("from_station", g), name: ["Gap ", gap("gap_id", g)], why: ["gap"], words: gapWords(g),
    });
  }
  return items;
}

function outstandingRows() {
  const items = [];
  for (let i = 0; i < record.set_aside.rows; i++) {
    const sheet = setAside("sheet", i), row = setAside("source_row", i);
    items.push({
      choice: null, line: null, chainage: null, station: null, why: ["row set aside"], words: setAside("reason", i),
      name: ["Source row ", (setAside("source_file", i) || "") + (sheet === null ? "" : ", " + sheet) + (row === null ? "" : ", row " + row)],
    });
  }
  return items;
}

function outstandingFindings() {
  const items = [];
  for (let i = 0; i < record.findings.rows; i++) {
    items.push({
      choice: null, line: null, chainage: null, station: null, why: [finding("kind", i) + " of a group"],
      words: finding("statement", i), name: ["", finding("joints_n", i) + (finding("joints_n", i) === 1 ? " joint" : " joints")],
    });
  }
  return items;
}

// By line and chainage; what has no place comes last, for it has no order along the line.
function outstandingItems() {
  const place = new Map(lines.map(function (line, i) { return [line.name, i]; }));
  function key(item) { return item.chainage === null ? [Infinity, 0] : [place.has(item.line) ? place.get(item.line) : 1e6, item.chainage]; }
  const items = outstandingJoints().concat(outstandingGaps(), outstandingFindings(), outstandingRows());
  items.forEach(function (item, i) { item.key = key(item).concat(i); });
  return items.sort(function (a, b) {
    return a.key[0] === b.key[0] ? a.key[1] - b.key[1] || a.key[2] - b.key[2] : a.key[0] - b.key[0];
  });
}

const outstanding = outstandingItems();

function itemRow(item, select) {
  const name = [item.name[0], said(item.name[1])];
  const open = item.choice === null ? null : function () { select(item.choice); };
  return element("tr", { click: open, class: open ? "opens" : null },
    element("td", {}, item.station === null ? "no place" : [said(item.station), lines.length > 1 ? [" ", said(item.line)] : null]),
    element("td", {}, open ? element("button", { type: "button" }, name) : name),
    element("td", {}, item.choice && item.choice.kind === "gap" ? item.words : [item.why.join("; "), item.words ? [": ", said(item.words)] : null]));
}

function startOutstanding(select) {
  const home = document.getElementById("outstanding-list"), body = element("tbody", {});
  const state = { why: "", shown: 0 };
  const more = element("button", { type: "button", click: function () { showMore(); } });
  const count = element("p", { class: "listed", role: "status" });
  function listed() {
    return outstanding.filter(function (item) { return state.why === "" || item.why.indexOf(state.why) >= 0; });
  }
  function showMore() {
    const all = listed();
    add(body, all.slice(state.shown, state.shown + ROWS_AT_ONCE).map(function (item) { return itemRow(item, select); }));
    state.shown = Math.min(all.length, state.shown + ROWS_AT_ONCE);
    count.textContent = "Listed " + state.shown + " of " + all.length + ", by station.";
    more.hidden = state.shown >= all.length;
    more.textContent = "Show the next " + Math.min(ROWS_AT_ONCE, all.length - state.shown);
  }
  function choose(why) {
    state.why = why;
    state.shown = 0;
    body.textContent = "";
    showMore();
  }
  if (!outstanding.length) return add(home, element("p", {}, "Nothing."));
  add(home, [whyChooser(choose), count, outstandingTable(body), more]);
  choose("");
}

function outstandingTable(body) {
  const head = ["Station", "What", "Why"].map(function (word) { return element("th", { scope: "col" }, word); });
  return element("table", {}, element("thead", {}, element("tr", {}, head)), body);
}

// One cause at a time, each with its count.
function whyChooser(choose) {
  const counts = new Map();
  outstanding.forEach(function (item) {
    item.why.forEach(function (why) { counts.set(why, (counts.get(why) || 0) + 1); });
  });
  const options = Array.from(counts).map(function (pair) {
    return element("option", { value: pair[0] }, pair[0] + " (" + pair[1] + ")");
  });
  const box = element("select", { change: function () { choose(box.value); } },
    element("option", { value: "" }, "everything (" + outstanding.length + ")"), options);
  return element("label", {}, "Show ", box);
}
