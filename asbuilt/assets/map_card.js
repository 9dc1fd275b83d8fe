// The card: everything about one joint, one gap or one station, beside the map or under it.

const PLACED = {
  survey: "an as-laid survey shot",
  fix: "the recorded fix; computed, not surveyed",
  tally: "the lengths of the pipes, without a fix; computed, not surveyed",
  "fix+tally": "the recorded fixes and the lengths of the pipes; computed, not surveyed",
  unplaced: "nothing: it has no place",
};

// The sign of a verdict as the map draws it, for use in a text.
function sign(kind, value) {
  const size = 26, ratio = window.devicePixelRatio || 1;
  const canvas = element("canvas", { class: "drawn-sign", width: size * ratio, height: size * ratio, "aria-hidden": "true" });
  const c = canvas.getContext("2d");
  c.setTransform(ratio, 0, 0, ratio, size * ratio / 2, size * ratio / 2);
  drawSign(c, kind, value);
  return canvas;
}

function drawSign(c, kind, value) {
  if (kind === "fusion") drawShape(c, value, 7);
  if (kind === "position") {
    c.fillStyle = "#C9C9C9";
    c.beginPath();
    c.arc(0, 0, 4, 0, 2 * Math.PI);
    c.fill();
    if (RINGS[value]) drawRing(c, RINGS[value], 4.5);
  }
  if (kind === "outOfLine") drawOutOfLine(c, 7);
  if (kind === "gap") {
    c.strokeStyle = record.look.gap;
    c.lineWidth = 14;
    c.setLineDash([3, 4]);
    c.beginPath();
    c.moveTo(-12, 0);
    c.lineTo(13, 0);
    c.stroke();
  }
}

function fillKey() {
  document.querySelectorAll(".sign").forEach(function (place) {
    Object.keys(place.dataset).forEach(function (kind) { place.appendChild(sign(kind, place.dataset[kind])); });
  });
}

function verdictLine(name, kind, verdict, more) {
  const words = verdict || NOT_RECORDED;
  return element("p", { class: "verdict" }, sign(kind, words), element("span", {}, name + ": ",
    element("strong", {}, words), more ? " " + more : null));
}

// A button that leads to another joint.
function jointButton(row, words, select) {
  return element("button", { type: "button", click: function () { select({ kind: "joint", row: row }); } },
    words[0], said(joint("joint_id", row)), words[1]);
}

function idButton(id, select) {
  if (id === null) return null;
  return jointById.has(id) ? jointButton(jointById.get(id), ["", ""], select) : said(id);
}

// ---- a joint -----------------------------------------------------------------------------------------------------

function jointCard(row, among, select) {
  return [
    element("h2", { tabindex: "-1" }, "Joint ", said(joint("joint_id", row))),
    jointState(row),
    among > 1 ? element("p", { class: "note" }, among + " joints are drawn on this spot: tap it again for the next.") : null,
    verdictLine("Fusion", "fusion", joint("fusion_verdict", row), recordedText(row)),
    verdictLine("Position", "position", joint("position_verdict", row), null),
    jointNeighbours(row, select),
    jointReasons(row),
    jointPlace(row),
    checksTable(row),
    otherQuantities(row),
    opinions(row),
    jointSource(row),
  ];
}

function jointState(row) {
  const kind = joint("kind", row), notes = [];
  if (!isInLine(row)) notes.push("Not in the line (cut out, or a trial): it is in no count.");
  if (kind !== null && kind !== "production") notes.push("Kind: " + kind + ".");
  return notes.length ? element("p", { class: "state" }, notes.join(" ")) : null;
}

function recordedText(row) {
  const of = joint("procedure_n", row);
  return of === null ? null : "(" + (joint("recorded_n", row) || 0) + " of " + of + " quantities of the procedure recorded)";
}

function jointReasons(row) {
  const why = sentences(joint("reasons", row)), decision = joint("decision", row);
  return [
    why.length ? element("ul", { class: "reasons" }, why.map(function (one) { return element("li", {}, said(one)); })) : null,
    element("p", {}, "Decision: ", decision === null ? "none" : said(decision)),
  ];
}

function jointNeighbours(row, select) {
  if (!isPlaced(row) || joint("chainage_m", row) === null) return null;
  const near = neighboursOf(row), here = joint("chainage_m", row);
  function button(other, before, after) {
    if (other === null) return null;
    const between = gapAt(joint("line", row), (joint("chainage_m", other) + here) / 2);
    const far = lengthText(Math.abs(joint("chainage_m", other) - here), 1) + (between === null ? "" : " (gap)");
    return jointButton(other, [before, ", " + far + after], select);
  }
  return element("nav", { class: "neighbours", "aria-label": "Neighbours along the line" },
    button(near.before, "← ", ""), button(near.after, "", " →"));
}

function jointPlace(row) {
  if (!isPlaced(row)) return section("Position", element("p", {}, "This joint has no place on the line."));
  return section("Position", [
    pairs([
      ["Station and offset", [stationOf(row), ", ", offsetText(joint("offset_m", row)) || "offset not known"]],
      [record.title.base_crs, latLonText(joint("latitude", row), joint("longitude", row))],
      [record.title.crs, eastNorthText(row)],
      ["Elevation, as recorded", lengthText(joint("elevation_m", row), 3)],
      ["Placed from", PLACED[joint("placed_by", row)] || joint("placed_by", row)],
      ["95 % radius", lengthText(joint("radius95_m", row), 2)],
      ["Standard deviation", deviationText(row)],
      ["On this leg with", probabilityText(joint("leg_probability", row), joint("candidates_n", row))],
      ["Second nearest place", farther(joint("margin_m", row))],
      ["Beyond the end of the line", joint("beyond_m", row) === 0 ? null : lengthText(joint("beyond_m", row), 2)],
    ]),
    element("p", { class: "note" }, "R and L: right and left, looking up-chainage. Not a utility locate."),
  ]);
}

function stationOf(row) {
  const station = joint("station", row);
  return [said(station === null ? "station not recorded" : station), lines.length > 1 ? [" on ", said(joint("line", row))] : null];
}

function latLonText(latitude, longitude) {
  return latitude.toFixed(7) + ", " + longitude.toFixed(7);
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

// ---- checks ------------------------------------------------------------------------------------------------------

const fields = new Map(record.fields.map(function (field) { return [field.column, field]; }));

// The name of a check is that of the quantity it judges, as the table of joints has it.
function checkTitle(name) {
  const field = fields.get(record.quantities[name]);
  return field ? field.title : capital((name || "").replace(/_/g, " "));
}

function checksTable(row) {
  const rows = rowsOf(firstCheck, row);
  if (!rows.length) return section("Window checks", element("p", {}, "No check: nothing to judge was recorded."));
  const quiet = rows.filter(isQuiet), shown = rows.filter(function (at) { return !isQuiet(at); });
  const sources = sourcesOf(shown);
  const head = ["Quantity", "Recorded", "Window", "Verdict"].map(function (word) {
    return element("th", { scope: "col" }, word);
  });
  return section("Window checks", [
    element("table", { class: "checks" }, element("thead", {}, element("tr", {}, head)),
      element("tbody", {}, shown.map(function (at) { return checkRows(at, row, sources); }))),
    quiet.length ? element("p", { class: "note" }, "Not recorded and not required: " + quiet.map(quantityOf).join(", ") + ".") : null,
    shown.length ? sourceList(sources) : null,
  ]);
}

// What was neither asked for nor written down would only drown the rest: it is named in one sentence.
function isQuiet(at) {
  return check("verdict", at) === NOT_RECORDED && !limit("required", check("limit", at));
}

function quantityOf(at) {
  return checkTitle(limit("check", check("limit", at))).toLowerCase();
}

// What all sources begin with is the procedure: it is said once.
function sourceList(sources) {
  const shared = sources.reduce(sharedStart), cut = sources.length > 1 ? shared.lastIndexOf(": ") + 2 : 0;
  return [
    element("p", { class: "note" }, "Where the windows come from", cut > 2 ? [": ", said(shared.slice(0, cut - 2))] : null, "."),
    element("ol", { class: "sources" }, sources.map(function (text) { return element("li", {}, said(text.slice(cut > 2 ? cut : 0))); })),
  ];
}

function sharedStart(a, b) {
  let end = 0;
  while (end < a.length && a[end] === b[end]) end++;
  return a.slice(0, end);
}

function sourceText(of) {
  const source = limit("source", of) || "source not recorded", status = limit("status", of);
  return status === null ? source : source + " (" + status + ")";
}

function sourcesOf(rows) {
  return Array.from(new Set(rows.map(function (at) { return sourceText(check("limit", at)); })));
}

// What words are held against: a check without a number has no interval.
const WINDOWS_OF_WORDS = new Map([["operator", "what the list allows"], ["machine", "the listed dates"],
  ["visual", "words that pass"], ["end_state", "words that pass"]]);

// What was recorded in words: as the table of joints has it, else as the check says it.
function recordedWords(at, row) {
  const name = limit("check", check("limit", at)), verdict = check("verdict", at) || NOT_RECORDED;
  if (verdict === NOT_RECORDED || !WINDOWS_OF_WORDS.has(name)) return null;
  return joint(record.quantities[name] || name, row) || check("cause", at);
}

function checkedText(at, row) {
  const value = check("value", at), of = check("limit", at), unit = limit("unit", of);
  if (value === null) return said(recordedWords(at, row)) || "not recorded";
  return besideLimits(value, limit("low", of), limit("high", of)) + (unit === null ? "" : " " + unit);
}

function checkRows(at, row, sources) {
  const of = check("limit", at), unit = limit("unit", of), low = limit("low", of), high = limit("high", of);
  const verdict = check("verdict", at) || NOT_RECORDED, cause = check("cause", at);
  const ofWords = verdict === "no window" ? null : WINDOWS_OF_WORDS.get(limit("check", of));
  const isSaid = cause === recordedWords(at, row);
  const number = sources.indexOf(sourceText(of)) + 1, isRequired = limit("required", of) !== false;
  return [
    element("tr", { class: verdict === OUT || (verdict === NOT_RECORDED && isRequired) ? "stands-out" : null },
      element("th", { scope: "row" }, checkTitle(limit("check", of)),
        isRequired ? null : element("small", {}, " not required")),
      element("td", {}, checkedText(at, row)),
      element("td", {}, windowText(low, high, unit) || ofWords || "none", sources.length > 1 ? element("sup", {}, " " + number) : null),
      element("td", {}, verdict)),
    cause === null || isSaid ? null : element("tr", { class: "cause" }, element("td", { colspan: "4" }, said(cause))),
  ];
}

// What was recorded and has no window: shown too, for nothing that was handed in is lost.
function otherQuantities(row) {
  const judged = new Set(rowsOf(firstCheck, row).map(function (at) { return limit("check", check("limit", at)); }));
  const names = Object.keys(record.quantities).filter(function (name) { return !judged.has(name); });
  const list = names.map(function (name) { return record.quantities[name]; }).concat("pressure_kind", "interfacial_pressure_mpa");
  const rest = list.filter(function (column) { return joint(column, row) !== null; });
  return rest.length ? section("Other quantities", pairs(rest.map(function (column) { return fieldPair(column, row); }))) : null;
}

// A column's title and its value with the unit. Lengths in metres are shown in the unit of the route.
function fieldPair(column, row) {
  const field = fields.get(column), value = joint(column, row);
  if (value === null) return [field.title, null];
  if (field.unit === "m") return [field.title, lengthText(value, 2)];
  if (typeof value === "number") return [field.title, figure(value) + (field.unit ? " " + field.unit : "")];
  const isTime = field.kind === "time" || column === "fused_local";  // all else is shown as it was written
  return [field.title, isTime ? timeText(value) : String(value)];
}

// ---- where else, and where from ----------------------------------------------------------------------------------

function opinions(row) {
  const rows = rowsOf(firstPosition, row);
  if (!rows.length) return null;
  return section("Opinions of its place", element("ul", { class: "opinions" }, rows.map(function (p) {
    const probability = position("probability", p);
    return element("li", {}, capital(position("method", p) || "method not recorded"), ": ", said(opinionText(p)),
      probability === null ? null : "; probability " + figure(100 * probability, 3) + " %");
  })));
}

function opinionText(p) {
  const offset = offsetText(position("offset_m", p));
  return [
    position("station", p), offset === null ? null : "offset " + offset,
    position("radius95_m", p) === null ? null : "95 % radius " + lengthText(position("radius95_m", p), 2),
  ].filter(function (one) { return one !== null; }).join(", ");
}

// What stands elsewhere in the card; every other column of the table of joints is listed under "Record".
const SHOWN_ABOVE = new Set(["joint_id", "kind", "in_line", "number_open", "line", "chainage_m", "station", "offset_m", "chainage_sd_m",
  "offset_sd_m", "radius95_m", "placed_by", "leg_probability", "candidates_n", "margin_m", "beyond_m", "fix_chainage_m",
  "fix_offset_m", "fusion_verdict", "position_verdict", "recorded_n", "procedure_n", "reasons", "decision", "latitude",
  "longitude", "easting", "northing", "elevation_m", "source_file", "source_row", "pressure_kind",
  "interfacial_pressure_mpa"].concat(Object.keys(record.quantities).map(function (name) { return record.quantities[name]; })));

function jointSource(row) {
  const rest = record.fields.filter(function (field) { return !SHOWN_ABOVE.has(field.column); });
  const list = rest.map(function (field) { return fieldPair(field.column, row); });
  list.push(["Source", sourceOf(joint("source_file", row), joint("source_row", row))]);
  return section("Record", pairs(list));
}

function sourceOf(file, row) {
  if (file === null) return null;
  return [said(file), row === null ? "" : ", row " + row];
}

// ---- a gap -------------------------------------------------------------------------------------------------------

function gapCard(g, select) {
  return [
    element("h2", { tabindex: "-1" }, gap("kind", g) === "not yet recorded" ? "Not yet recorded " : "Gap ", said(gap("gap_id", g))),
    element("p", { class: "verdict" }, sign("gap", ""), element("strong", {}, gapWords(g))),
    pairs([
      ["From", [said(gap("from_station", g) || "station not recorded"), " ", idButton(gap("from_joint", g), select) || "start of the line"]],
      ["To", [said(gap("to_station", g) || "station not recorded"), " ", idButton(gap("to_joint", g), select) || "end of the line"]],
      ["Line", lines.length > 1 ? gap("line", g) : null],
      ["Kind", gap("kind", g)],
      ["Missing records, likeliest", countText(gap("missing_records", g))],
      ["Missing records, with 95 %", missingRange(g)],
      ["Joints without a place, made between the two", countText(gap("unplaced_here", g))],
      ["Why", gap("evidence", g)],
      ["Decision", gap("decision", g) || "none"],
    ]),
    element("p", { class: "note" }, "A missing record is not proof of a missing joint."),
  ];
}

function countText(count) {
  return count === null ? null : String(count);
}

function missingRange(g) {
  const low = gap("missing_low", g), high = gap("missing_high", g);
  return low === null || high === null ? null : range(low, high);
}

// ---- a station ---------------------------------------------------------------------------------------------------

function stationCard(choice, select) {
  const at = spotOn(choice.line, choice.chainage), near = neighboursAt(choice.line, choice.chainage, null);
  const place = at === null ? null : L.CRS.EPSG3857.pointToLatLng(L.point(at.x, at.y), 0);
  const inGap = gapAt(choice.line, choice.chainage);
  return [
    element("h2", { tabindex: "-1" }, "Station ", stationText(choice.stated)),
    pairs([
      ["Line", choice.line],
      ["Place on the alignment, " + record.title.base_crs, place && latLonText(place.lat, place.lng)],
      ["Joint before", nearText(near.before, choice.chainage, select)],
      ["Joint after", nearText(near.after, choice.chainage, select)],
      ["In gap", inGap === null ? null : gapButton(inGap, select)],
    ]),
    element("p", { class: "note" }, "A place on the design alignment, computed. Not a utility locate."),
  ];
}

function nearText(row, chainage, select) {
  if (row === null) return "none";
  return [jointButton(row, ["", ""], select), " " + lengthText(Math.abs(joint("chainage_m", row) - chainage), 1)];
}

function gapButton(g, select) {
  return element("button", { type: "button", click: function () { select({ kind: "gap", row: g }); } }, said(gap("gap_id", g)));
}
