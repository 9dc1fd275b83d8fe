// The line under the map that says what is chosen, and the card that says all of it.

import { neighboursOf } from "./along.js";
import { jointCard } from "./card.js";
import { findingCard, gapCard, stationCard, whichOf } from "./card_other.js";
import { gapWords } from "./draw_line.js";
import { bearingText, wayFrom } from "./earth.js";
import { button, byId, element, fill, said } from "./elements.js";
import { jointsOfFinding } from "./outstanding.js";
import { finding, gap, isPlaced, joint, record } from "./record.js";
import { signFor } from "./signs.js";
import { choose, onChange, state } from "./state.js";
import { lengthText, many, metresPerUnit, offsetText, stationText } from "./text.js";
import { spotOfJoint, spotOn, toPlace } from "./world.js";

export function startChosen() {
  onChange((changed) => {
    if (changed.includes("choice")) showCard();
    if (changed.includes("choice") || changed.includes("phone")) showLine();
    if (changed.includes("phone") && byId("which") !== null) fill(byId("which"), whichOf(state.choice));
  });
}

export function isNarrow() { return window.matchMedia("(max-width: 899px)").matches; }

// ---- the card --------------------------------------------------------------------------------------------------------

function cardOf(choice) {
  if (choice.kind === "joint") return jointCard(choice.row, choice.among || 1);
  if (choice.kind === "finding") return findingCard(choice.row);
  return choice.kind === "gap" ? gapCard(choice.row) : stationCard(choice);
}

let cameFrom = null;  // what had the keyboard before the card took it

function showCard() {
  const card = byId("card"), { choice } = state, hadFocus = card.contains(document.activeElement);
  card.hidden = choice === null;
  fill(card, choice === null ? [] : [button("Close", close, { class: "close" }), cardOf(choice)]);
  // On a narrow screen the map stands above the card, and both have to be seen: the line under the map leads to it.
  if (choice !== null && choice.open && (hadFocus || !isNarrow())) openCard();
}

function close() {
  const isThere = cameFrom !== null && cameFrom.isConnected && cameFrom !== document.body;
  choose(null);
  (isThere ? cameFrom : document.querySelector(".folium-map")).focus({ preventScroll: true });
}

export function openCard() {
  const card = byId("card");
  if (card.hidden) return;
  if (!card.contains(document.activeElement)) cameFrom = document.activeElement;
  card.querySelector("h2").focus({ preventScroll: true });
  card.scrollIntoView({ block: "start", behavior: "auto" });
}

// ---- the line under the map ------------------------------------------------------------------------------------------

function showLine() {
  const place = byId("chosen"), { choice } = state, at = document.activeElement, lead = place.contains(at) ? at.dataset.lead : null;
  place.hidden = choice === null;
  fill(place, choice === null ? [] : [element("p", {}, wordsOf(choice), fromPhone(choice)), leads(choice)]);
  // Whoever walks along the line by one of its buttons keeps it under the hand; at the end of the line, the way to the card.
  if (lead) (place.querySelector("[data-lead='" + lead + "']") || place.querySelector("[data-lead='card']")).focus();
}

function wordsOf(choice) {
  if (choice.kind === "gap") return [signFor("gap", ""), element("strong", {}, "Gap ", said(gap("gap_id", choice.row))), ", " + gapWords(choice.row)];
  if (choice.kind === "finding") return [element("strong", {}, "Finding ", said(finding("finding_id", choice.row))), ", " + many(finding("joints_n", choice.row), "joint")];
  if (choice.kind === "station") return [element("strong", {}, "Station " + stationText(choice.stated))];
  const row = choice.row, offset = offsetText(joint("offset_m", row));
  return [signFor("fusion", joint("fusion_verdict", row)), element("strong", {}, said(joint("joint_id", row))),
    isPlaced(row) ? [" at ", said(joint("station", row)), offset === null ? null : ", " + offset] : ", without a place",
    "; fusion " + joint("fusion_verdict", row) + ", position " + joint("position_verdict", row)];
}

// The neighbours along the line, and the card: what a thumb wants next.
function leads(choice) {
  const near = choice.kind === "joint" && isPlaced(choice.row) ? neighboursOf(choice.row) : { before: null, after: null };
  const to = (row, sign, words, lead) => (row === null ? null
    : button(sign, () => choose({ kind: "joint", row }, { open: false }), { "aria-label": words + ", " + joint("joint_id", row), "data-lead": lead }));
  return element("span", { class: "leads" }, to(near.before, "←", "Joint before", "before"), to(near.after, "→", "Joint after", "after"),
    button("Card", openCard, { "data-lead": "card" }));
}

// ---- from where one stands -------------------------------------------------------------------------------------------

export function placeOf(choice) {
  if (choice.kind === "finding") {
    const first = jointsOfFinding(choice.row).find(isPlaced);
    return first === undefined ? null : placeOf({ kind: "joint", row: first });
  }
  if (choice.kind === "joint") return isPlaced(choice.row) ? toPlace(spotOfJoint(choice.row)) : null;
  const at = choice.kind === "gap" ? spotOn(gap("line", choice.row), gap("from_chainage_m", choice.row)) : spotOn(choice.line, choice.chainage);
  return at === null ? null : toPlace(at);
}

// What a device says of itself, rounded up: never to nothing.
export function accuracyText(metres) {
  const decimals = decimalsFor(metres), step = metresPerUnit / Math.pow(10, decimals);
  return lengthText(Math.max(1, Math.ceil(metres / step - 1e-6)) * step, decimals);
}

// No figure is finer than the position that it comes from.
export function decimalsFor(accuracy) { return accuracy < 0.1 ? 2 : accuracy < 2 ? 1 : 0; }

function fromPhone(choice) {
  const { phone } = state, place = phone === null ? null : placeOf(choice);
  if (place === null) return null;
  const { distance, bearing } = wayFrom([phone.latitude, phone.longitude], [place.lat, place.lng]);
  return element("span", { class: "from-phone" }, "From the phone position (± " + accuracyText(phone.accuracy) + ")",
    { gap: " to where the gap begins: ", finding: " to its first joint: " }[choice.kind] || ": ",
    element("strong", {}, lengthText(distance, decimalsFor(phone.accuracy)) + ", " + bearingText(bearing)), " from true north.",
    record.shift === null ? " How far phone and record differ here is not known." : null);
}
