// In the field: the device's own position. It stays in the page: nothing here sends anything anywhere.

import { accuracyText, placeOf } from "./chosen.js";
import { byId, element, fill } from "./elements.js";
import { copiable, gpxButton } from "./give.js";
import { joint, record } from "./record.js";
import { change, onChange, state } from "./state.js";
import { latLonText } from "./text.js";

const REFUSED = 1, WHY_NOT = {
  [REFUSED]: "this page may not ask for it. A file opened from a phone's storage often may not; a browser's own settings may allow it",
  2: "the device does not know where it is",
  3: "the device took too long",
};

let watch = null, isShown = false, whyNot = null;  // the watch's number; whether the map went there; why there is none

export function startField() {
  onChange((changed) => { if (changed.includes("choice") && whyNot !== null) sayWhyNot(whyNot); });
}

// Starts or stops following the device, and says in the page what came of it.
export function togglePhone(button) {
  if (watch !== null) return stop(button);
  if (!navigator.geolocation) return sayWhyNot("this browser has none.");
  button.setAttribute("aria-pressed", "true");
  say(element("p", {}, "Waiting for the phone position …"));
  watch = navigator.geolocation.watchPosition(show, (fault) => lose(fault, button), { enableHighAccuracy: true, maximumAge: 2000, timeout: 30000 });
}

function stop(button) {
  navigator.geolocation.clearWatch(watch);
  watch = null;
  isShown = false;
  button.setAttribute("aria-pressed", "false");
  byId("phone-says").hidden = true;
  change({ phone: null });
}

function show({ coords }) {
  const { latitude, longitude, accuracy } = coords;
  change({ phone: { latitude, longitude, accuracy, isFirst: !isShown } });
  isShown = true;
  say(element("p", {}, "Phone position, good to about " + accuracyText(accuracy) + " as the device says. ",
    element("strong", {}, "It shows the way to a place, not where to dig."), " Nothing leaves the device."));
}

// A device that loses its position for a while is asked on; what it said before is no longer where it is.
function lose(fault, button) {
  const why = WHY_NOT[fault.code] || "the device gave no reason";
  if (fault.code === REFUSED) stop(button); else change({ phone: null });
  sayWhyNot(why + (fault.code === REFUSED ? "." : ". It is still being asked."));
}

// ---- words -----------------------------------------------------------------------------------------------------------

function say(words) {
  whyNot = null;
  byId("phone-says").hidden = false;
  fill(byId("phone-says"), element("div", { role: "status" }, words));
}

function sayWhyNot(why) {
  say([element("p", {}, "No phone position: " + why), instead()]);
  whyNot = why;
}

// What serves without it: the position of what is chosen, to copy into a map or a receiver of one's own.
function instead() {
  const { choice } = state, place = choice === null ? null : placeOf(choice);
  if (place === null) return element("p", {}, "Choose a joint, and its position can be copied from here into a map of your own.");
  const frame = record.shift === null ? record.title.base_crs : "WGS 84, for a phone", text = latLonText(place.lat, place.lng);
  const isJoint = choice.kind === "joint";
  return [element("p", {}, "What is chosen, in latitude and longitude (" + frame + "):"), copiable(text, "the position in " + frame),
    isJoint ? gpxButton("Its waypoint (GPX)", [choice.row], joint("joint_id", choice.row)) : null];
}
