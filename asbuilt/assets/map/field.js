// In the field: the device's own position. It stays in the page: nothing here sends anything anywhere.

import { spacing } from "./along.js";
import { accuracyText, decimalsFor, placeOf } from "./chosen.js";
import { wayFrom } from "./earth.js";
import { button, byId, element, fill } from "./elements.js";
import { copiable, gpxButton } from "./give.js";
import { joint, record } from "./record.js";
import { change, onChange, state } from "./state.js";
import { latLonText } from "./text.js";
import { whichWords } from "./which.js";
import { lines, nearestOnLine, spotOn, toPlace } from "./world.js";

const REFUSED = 1, WHY_NOT = {
  [REFUSED]: "this page may not ask for it. A file opened from a phone's storage often may not; a browser's own settings may allow it",
  2: "the device does not know where it is",
  3: "the device took too long",
};

let watch = null, isShown = false, whyNot = null;  // the watch's number; whether the map went there; why there is none

// What is told of the position; the joints beside it; and the way to end it, which stays while the others change.
const parts = { told: element("div", { role: "status" }), beside: element("div", { class: "beside" }), stop: null };

export function startField() {
  parts.stop = button("Stop", () => { stop(); leave(); }, { id: "phone-stop", "aria-label": "Stop the phone position", hidden: "" });
  fill(byId("phone-says"), [parts.told, parts.stop, parts.beside]);
  onChange((changed) => {
    if (changed.includes("choice") && whyNot !== null) sayWhyNot(whyNot);
    if (changed.includes("follows")) parts.stop.hidden = !state.follows;
  });
}

// Starts to follow the device, and says in the page what came of it.
export function followPhone() {
  if (watch !== null) return;
  if (!navigator.geolocation) { sayWhyNot("this browser has none."); return; }
  change({ follows: true });
  say(element("p", {}, "Waiting for the phone position …"));
  watch = navigator.geolocation.watchPosition(show, lose, { enableHighAccuracy: true, maximumAge: 2000, timeout: 30000 });
}

export function togglePhone() { if (watch === null) followPhone(); else stop(); }

function stop() {
  navigator.geolocation.clearWatch(watch);
  watch = null;
  isShown = false;
  byId("phone-says").hidden = true;
  change({ phone: null, follows: false });
}

// The button goes with what it ended: the keyboard goes to where it can be begun again.
function leave() {
  const near = [byId("thumb-phone"), byId("phone")].find((one) => one !== null && one.offsetParent !== null);
  if (near) near.focus({ preventScroll: true });
}

function show({ coords }) {
  const { latitude, longitude, accuracy } = coords;
  change({ phone: { latitude, longitude, accuracy, isFirst: !isShown } });
  isShown = true;
  say(element("p", {}, "Phone position, good to about " + accuracyText(accuracy) + " as the device says. ",
    element("strong", {}, "It shows the way to a place, not where to dig."), " Nothing leaves the device."));
  fill(parts.beside, besideWords());
}

// A device that loses its position for a while is asked on; what it said before is no longer where it is.
function lose(fault) {
  const why = WHY_NOT[fault.code] || "the device gave no reason";
  if (fault.code === REFUSED) stop(); else change({ phone: null });
  sayWhyNot(why + (fault.code === REFUSED ? "." : ". It is still being asked."));
}

// ---- words -----------------------------------------------------------------------------------------------------------

// A status that is told again is read out again: only what is new is.
function say(words) {
  const now = element("div", {}, words);
  whyNot = null;
  byId("phone-says").hidden = false;
  fill(parts.beside, []);
  if (now.innerHTML !== parts.told.innerHTML) parts.told.replaceChildren(...now.childNodes);
}

function sayWhyNot(why) {
  say([element("p", {}, "No phone position: " + why), instead()]);
  whyNot = why;
}

// Which joint one stands beside; nothing where the line is farther than its next joint might be.
function besideWords() {
  const { latitude, longitude, accuracy } = state.phone, spot = L.CRS.EPSG3857.latLngToPoint(L.latLng(latitude, longitude), 0);
  const near = record.shift === null || !lines.length ? null : nearestOnLine(spot.x, spot.y);
  if (near === null) return null;
  const at = toPlace(spotOn(near.line, near.chainage)), { distance } = wayFrom([latitude, longitude], [at.lat, at.lng]);
  return distance > accuracy + spacing ? null : whichWords(near.line, near.chainage, decimalsFor(accuracy));
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
