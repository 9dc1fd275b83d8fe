// What leaves the page because the reader asks for it: text for the clipboard, and waypoints for a receiver.

import { button, element } from "./elements.js";
import { joint, record } from "./record.js";
import { capital, offsetText, lengthText } from "./text.js";
import { lines, toWgs84 } from "./world.js";

// A text with a button that copies it.
export function copiable(text, what) {
  return element("span", { class: "copied" }, element("span", {}, text), copyButton(what, text));
}

// A button that copies a text and says whether it did. Where a page may not copy (a viewer of files), the text is
// selected instead, so that it can be copied by hand.
function copyButton(what, text) {
  const made = button("Copy", async () => {
    made.textContent = (await copied(text)) ? "Copied" : "Copy by hand";
    window.setTimeout(() => { made.textContent = "Copy"; }, 2000);
  }, { class: "copy", "aria-label": "Copy " + what });
  return made;
}

async function copied(text) {
  try {
    await navigator.clipboard.writeText(text);
    return true;
  } catch {
    return copiedTheOldWay(text);
  }
}

function copiedTheOldWay(text) {
  const box = document.createElement("textarea");
  box.value = text;
  box.setAttribute("readonly", "");
  box.className = "copying";
  document.body.appendChild(box);
  box.select();
  const done = document.execCommand("copy");
  if (done) box.remove(); else window.setTimeout(() => box.remove(), 20000);
  return done;
}

// ---- GPX -------------------------------------------------------------------------------------------------------------

// What XML cannot hold is replaced: a control character in a remark must not cost the crew the whole file.
function xml(text) {
  return String(text).replace(/[^\t\n\r\u{20}-\u{D7FF}\u{E000}-\u{FFFD}\u{10000}-\u{10FFFF}]/gu, "\uFFFD")
    .replace(/[&<>"]/g, (c) => "&#" + c.charCodeAt(0) + ";");
}

function waypoint(row) {
  const [latitude, longitude] = toWgs84(joint("latitude", row), joint("longitude", row));
  const says = [lines.length > 1 ? joint("line", row) : null, joint("station", row), offsetText(joint("offset_m", row)),
    joint("radius95_m", row) === null ? null : "95 % radius " + lengthText(joint("radius95_m", row), 2),
    "fusion " + joint("fusion_verdict", row), "position " + joint("position_verdict", row)].filter((one) => one !== null);
  return '<wpt lat="' + latitude.toFixed(7) + '" lon="' + longitude.toFixed(7) + '"><name>' + xml(joint("joint_id", row))
    + "</name><desc>" + xml(capital(says.join(", ")) + ". An estimate, not a utility locate.") + "</desc></wpt>";
}

export function gpxOf(rows) {
  const { title } = record;
  return '<?xml version="1.0" encoding="UTF-8"?>\n'
    + '<gpx version="1.1" creator="asbuilt" xmlns="http://www.topografix.com/GPX/1/1">\n<metadata><name>'
    + xml(title.name + ", revision " + title.revision) + "</name><desc>" + xml(title.wgs84 + " " + title.caution) + "</desc></metadata>\n"
    + rows.map(waypoint).join("\n") + "\n</gpx>\n";
}

// A button that hands the waypoints of some joints to the device. Such a file knows WGS 84 only: where the route's frame
// does not reach it with a known accuracy there is no button, as there is no such file in the hand-over.
export function gpxButton(words, rows, name) {
  if (record.shift === null) return null;
  return button(words, () => {
    const address = URL.createObjectURL(new Blob([gpxOf(rows)], { type: "application/gpx+xml" }));
    const link = document.createElement("a");
    link.href = address;
    link.download = name.replace(/[^\w.-]+/g, "_") + ".gpx";
    link.click();
    window.setTimeout(() => URL.revokeObjectURL(address), 10000);
  });
}
