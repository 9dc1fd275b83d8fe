// The tools under the map, and the bar at the foot of a phone that a thumb can reach.

import { openCard } from "./chosen.js";
import { button, byId, element, fill } from "./elements.js";
import { followPhone, startField, togglePhone } from "./field.js";
import { gpxButton } from "./give.js";
import { showPhone } from "./going.js";
import { isInLine, isPlaced, record } from "./record.js";
import { order } from "./draw_joints.js";
import { change, onChange, state } from "./state.js";

export function startTools() {
  const phone = button("Phone position", togglePhone, { "aria-pressed": "false", id: "phone" });
  const all = Array.from(order).filter((row) => isInLine(row) && isPlaced(row)).sort((a, b) => a - b);
  fill(byId("tools"), element("div", { class: "tool-row" }, toggle("fixes", "Recorded fixes"), toggle("sun", "For the sun"), phone,
    gpxButton("All joints (GPX)", all, record.title.name), button("Print", () => window.print(), { id: "print" })));
  byId("tools").hidden = false;
  onChange((changed) => { if (changed.includes("sun")) document.documentElement.classList.toggle("sun", state.sun); });
  onChange((changed) => { if (changed.includes("follows")) showWhetherFollowed(phone); });
  startField();
  startThumb();
}

// The one in the tools is on or off. The one in the bar leads to the way, as its neighbours lead to what they name.
function showWhetherFollowed(phone) {
  phone.setAttribute("aria-pressed", String(state.follows));
  byId("thumb-phone").setAttribute("aria-expanded", String(state.follows));
}

function toggle(name, words) {
  const made = button(words, () => change({ [name]: !state[name] }), { "aria-pressed": "false", id: name });
  onChange((changed) => { if (changed.includes(name)) made.setAttribute("aria-pressed", String(state[name])); });
  return made;
}

function startThumb() {
  const go = (id, then) => () => { byId(id).scrollIntoView({ block: "start" }); if (then) then(); };
  fill(byId("thumb"), [
    button("Map", go("map")), button("Find", go("find-part", () => byId("find").focus({ preventScroll: true }))),
    button("Card", openCard, { id: "thumb-card", disabled: "" }), button("List", go("list")),
    button("Phone", go("map", () => { followPhone(); showPhone(); }), { id: "thumb-phone", "aria-expanded": "false", "aria-controls": "phone-says" }),
  ]);
  byId("thumb").hidden = false;
  onChange((changed) => { if (changed.includes("choice")) byId("thumb-card").disabled = state.choice === null; });
}
