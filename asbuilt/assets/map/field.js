// In the field: the device's own position. It stays in the page: nothing here sends anything anywhere.

import { byId, element, fill } from "./elements.js";
import { change, state } from "./state.js";
import { lengthText } from "./text.js";

const WHY_NOT = {
  1: "this page may not ask for it. A file opened from a phone's storage often may not; a browser's own settings may allow it",
  2: "the device does not know where it is",
  3: "the device took too long",
};

let watch = null;

// Starts or stops following the device, and says in the page what came of it.
export function togglePhone(button) {
  if (watch !== null) return stop(button);
  if (!("geolocation" in navigator)) return sayWhyNot("this browser has none");
  button.setAttribute("aria-pressed", "true");
  say("Waiting for the phone position …");
  watch = navigator.geolocation.watchPosition(({ coords }) => {
    const { latitude, longitude, accuracy } = coords;
    change({ phone: { latitude, longitude, accuracy, isFirst: state.phone === null } });
    say(["Phone position, good to about " + lengthText(accuracy, 0) + " as the device says. ",
      element("strong", {}, "It shows the way to a place, not where to dig."), " Nothing leaves the device."]);
  }, (fault) => {
    stop(button);
    sayWhyNot(WHY_NOT[fault.code] || "the device gave no reason");
  }, { enableHighAccuracy: true, maximumAge: 2000, timeout: 30000 });
}

function stop(button) {
  navigator.geolocation.clearWatch(watch);
  watch = null;
  button.setAttribute("aria-pressed", "false");
  byId("phone-says").hidden = true;
  change({ phone: null });
}

function say(words) {
  byId("phone-says").hidden = false;
  fill(byId("phone-says"), element("p", { role: "status" }, words));
}

function sayWhyNot(why) {
  say("No phone position: " + why + ". Copy a position from a joint's card, or save its waypoint (GPX), into a map or a receiver of your own.");
}
