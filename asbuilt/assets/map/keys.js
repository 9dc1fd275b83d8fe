// The short ways of the keyboard: past everything that stands before the list, and out of the card.

import { byId } from "./elements.js";
import { choose, state } from "./state.js";

export function startShortWays() {
  byId("to-list").addEventListener("click", goToList);
  document.addEventListener("keydown", leaveCard);
}

// By hand rather than by the browser: the address may name an evening, and keeps it.
function goToList(event) {
  event.preventDefault();
  byId("list-title").focus({ preventScroll: true });
  byId("list").scrollIntoView({ block: "start" });
}

// Escape closes the card, wherever the keyboard is; but in the search it empties the search, and in a box of choices it
// closes the choices. From within the card the keyboard goes back to where it came from.
function leaveCard(event) {
  if (event.key !== "Escape" || event.defaultPrevented || state.choice === null) return;
  const at = document.activeElement;
  if (at.closest("#find-part, select")) return;
  if (byId("card").contains(at)) return byId("card").querySelector(".close").click();
  if (byId("chosen").contains(at)) document.querySelector(".folium-map").focus({ preventScroll: true });  // it goes with the choice
  choose(null);
}
