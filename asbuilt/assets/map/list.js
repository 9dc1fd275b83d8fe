// The list beside the map: what is outstanding, or the joints that a search has picked. A real table, for those who
// cannot use the map; and a way to walk the map by keyboard.

import { openCard } from "./chosen.js";
import { button, byId, element, fill, said } from "./elements.js";
import { gpxButton } from "./give.js";
import { alongTheLine, jointItem, outstanding } from "./outstanding.js";
import { isPlaced, joint } from "./record.js";
import { change, choose, isChosen, onChange, state } from "./state.js";
import { many } from "./text.js";
import { lines } from "./world.js";

const ROWS_AT_ONCE = 100;
const OUTSTANDING_SAYS = "Out of window, not recorded, missing records, without a place, set aside, or a finding; and not closed by a decision.";

const shown = { items: [], why: "", rows: 0 };  // the whole list, the cause it is narrowed to, and the rows that are made

export function startList() {
  onChange((changed) => {
    if (changed.includes("picked")) showList();
    if (changed.includes("choice")) markChosen();
    if (changed.includes("evening")) sayWhatItIs();
  });
  showList();
}

function showList() {
  const { picked } = state;
  shown.items = picked === null ? outstanding : alongTheLine(Array.from(picked.rows, (row) => jointItem(row, verdictsOf(row))));
  shown.why = "";
  byId("list-title").textContent = picked === null ? "Outstanding: " + outstanding.length : picked.title + ": " + many(picked.rows.size, "joint");
  sayWhatItIs();
  fill(byId("list-table"), [picked === null ? null : pickedTools(picked), shown.items.length ? tableParts() : element("p", {}, "Nothing.")]);
  if (shown.items.length) showMore();
}

// The head of the page counts as of the evening that is shown; the list does not, and says so.
function sayWhatItIs() {
  const says = state.picked === null ? OUTSTANDING_SAYS : "Picked out; on the map the others are faded.";
  byId("list-says").textContent = says + (state.evening === null ? "" : " Of the whole record, not of the evening shown.");
}

function verdictsOf(row) {
  return ["fusion " + joint("fusion_verdict", row), "position " + joint("position_verdict", row)];
}

function pickedTools(picked) {
  const placed = Array.from(picked.rows).filter(isPlaced);
  return element("p", { class: "picked" }, button("Back to what is outstanding", () => change({ picked: null })),
    placed.length ? gpxButton("Waypoints (GPX)", placed, picked.title) : null);
}

// ---- the table -------------------------------------------------------------------------------------------------------

function tableParts() {
  const head = ["Station", "What", "Why"].map((word) => element("th", { scope: "col", role: "columnheader" }, word));
  return [
    whyChooser(),
    element("p", { class: "listed", id: "listed", role: "status" }),
    table(head),
    button("", showMore, { id: "list-more" }),
    element("p", { class: "note keys" }, "Arrow keys walk along the line; Enter opens the card, Escape closes it."),
  ];
}

// The rows are laid out as boxes, which some browsers take for the end of the table: the roles keep it one.
function table(head) {
  const rows = element("tbody", { id: "list-rows", role: "rowgroup", keydown: walk, focusin: bringIntoSight, pointerdown: press, pointerup: press, pointercancel: press });
  return element("table", { role: "table", "aria-labelledby": "list-title" }, element("thead", { role: "rowgroup" }, element("tr", { role: "row" }, head)), rows);
}

function listed() {
  return shown.items.filter((item) => shown.why === "" || item.why.includes(shown.why));
}

function showMore() {
  const all = listed(), next = all.slice(shown.rows, shown.rows + ROWS_AT_ONCE);
  byId("list-rows").append(...next.map(itemRow));
  shown.rows += next.length;
  byId("listed").textContent = "Listed " + shown.rows + " of " + all.length + ", by station.";
  byId("list-more").hidden = shown.rows >= all.length;
  byId("list-more").textContent = "Show the next " + Math.min(ROWS_AT_ONCE, all.length - shown.rows);
  markChosen();
}

// One cause at a time, each with its count.
function whyChooser() {
  const counts = new Map();
  shown.rows = 0;
  shown.items.forEach((item) => item.why.forEach((why) => counts.set(why, (counts.get(why) || 0) + 1)));
  const options = Array.from(counts, ([why, n]) => element("option", { value: why }, why + " (" + n + ")"));
  const box = element("select", { change: () => narrow(box.value) }, element("option", { value: "" }, "everything (" + shown.items.length + ")"), options);
  return element("label", {}, "Show ", box);
}

function narrow(why) {
  shown.why = why;
  shown.rows = 0;
  byId("list-rows").textContent = "";
  showMore();
}

function itemRow(item) {
  const name = [item.name[0], said(item.name[1])], opens = item.choice !== null, isGap = opens && item.choice.kind === "gap";
  const why = isGap ? item.words : [item.why.join("; "), item.words ? [": ", said(item.words)] : null];
  const kinds = [opens ? "opens" : null, item.words && !isGap ? "told" : null].filter((one) => one !== null).join(" ");
  const cell = (children) => element("td", { role: "cell" }, children);
  const row = element("tr", { role: "row", class: kinds || null, tabindex: opens ? null : "-1", click: opens ? () => open(row) : null },
    cell(item.station === null ? "no place" : [said(item.station), lines.length > 1 ? [" ", said(item.line)] : null]),
    cell(opens ? button(name, null) : name), cell(why));
  row.item = item;
  return row;
}

// Also on a phone the card is brought into view: whoever is in the list sees neither the map nor what stands under it.
// The keyboard is put on the row first, so that it comes back here when the card is closed.
function open(row) {
  stopOf(row).focus({ preventScroll: true });
  choose(row.item.choice);
  openCard();
}

// What has the keyboard in a row: its button; where it leads to nothing on the map, the row itself.
function stopOf(row) { return row.querySelector("button") || row; }

// ---- walking ---------------------------------------------------------------------------------------------------------

const STEPS = { ArrowDown: 1, ArrowUp: -1 };

// Up and down go from row to row: the map follows, the keyboard stays in the list. On a row that leads to nothing on the
// map nothing is chosen: the map does not go on showing another one.
function walk(event) {
  const step = STEPS[event.key];
  if (step === undefined) return;
  event.preventDefault();
  const rows = Array.from(byId("list-rows").rows), at = rows.indexOf(document.activeElement.closest("tr"));
  if (at + step === rows.length && !byId("list-more").hidden) {
    showMore();
    walk(event);
    return;
  }
  const next = rows[Math.max(0, Math.min(rows.length - 1, at + step))];
  stopOf(next).focus();
  choose(next.item.choice, { open: false });
}

let isPressed = false;  // by a finger or a mouse, just now

function press(event) { isPressed = event.type === "pointerdown"; }

// The row that gets the keyboard, also back from a card that was closed. Under a finger nothing may move away.
function bringIntoSight(event) {
  if (!isPressed) event.target.scrollIntoView({ block: "nearest" });
}

function markChosen() {
  const body = byId("list-rows");
  if (body === null) return;
  body.querySelectorAll("tr").forEach((row) => {
    const { choice } = row.item, isIt = choice !== null && isChosen(choice.kind, choice.row);
    row.classList.toggle("is-chosen", isIt);
    if (isIt) row.setAttribute("aria-current", "true"); else row.removeAttribute("aria-current");
  });
}
