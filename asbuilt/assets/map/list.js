// The list beside the map: what is outstanding, or the joints that a search has picked. A real table, for those who
// cannot use the map; and a way to walk the map by keyboard.

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
  const head = ["Station", "What", "Why"].map((word) => element("th", { scope: "col" }, word));
  return [
    whyChooser(),
    element("p", { class: "listed", id: "listed", role: "status" }),
    element("table", { "aria-labelledby": "list-title" }, element("thead", {}, element("tr", {}, head)), element("tbody", { id: "list-rows", keydown: walk })),
    button("", showMore, { id: "list-more" }),
    element("p", { class: "note keys" }, "Arrow keys walk along the line; Enter opens the card."),
  ];
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
  const name = [item.name[0], said(item.name[1])], open = item.choice === null ? null : () => choose(item.choice);
  const why = item.choice && item.choice.kind === "gap" ? item.words : [item.why.join("; "), item.words ? [": ", said(item.words)] : null];
  const row = element("tr", { class: open ? "opens" : null, click: open },
    element("td", {}, item.station === null ? "no place" : [said(item.station), lines.length > 1 ? [" ", said(item.line)] : null]),
    element("td", {}, open ? button(name, null) : name),
    element("td", {}, why));
  row.item = item;
  return row;
}

// ---- walking ---------------------------------------------------------------------------------------------------------

const STEPS = { ArrowDown: 1, ArrowUp: -1 };

// Up and down go from item to item: the map follows, the keyboard stays in the list.
function walk(event) {
  const step = STEPS[event.key];
  if (step === undefined) return;
  event.preventDefault();
  const buttons = Array.from(byId("list-rows").querySelectorAll("button")), at = buttons.indexOf(document.activeElement);
  if (at + step === buttons.length && !byId("list-more").hidden) {
    showMore();
    walk(event);
    return;
  }
  const next = buttons[Math.max(0, Math.min(buttons.length - 1, at + step))];
  next.focus();
  choose(next.closest("tr").item.choice, { open: false });
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
