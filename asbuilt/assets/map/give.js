// What leaves the page because the reader asks for it: text for the clipboard, and waypoints for a receiver.

import { button, element } from "./elements.js";
import { joint, record } from "./record.js";
import { capital, offsetText, lengthText } from "./text.js";
import { toWgs84 } from "./world.js";

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
  return String(text).replace(/[^\t\n\r\u0020-\uD7FF\uE000-\uFFFD]/g, "\uFFFD")
    .replace(/[&<>"]/g, (c) => "&#" + c.charCodeAt(0) + ";");
}

function waypoint(row) {
  const [latitude, longitude] = toWgs84(joint("latitude", row), joint("longitude", row));
  const says = [joint("station", row), offsetText(joint("offset_m", row)),
    joint("radius95_m", row) === null ? null : "95 % radius " + lengthText(joint("radius95_m", row), 2),
    "fusion " + joint("fusion_verdict", row), "position " + joint("position_verdict", row)].filter((one) => one !== null);
  return '<wpt lat="' + latitude.toFixed(7) + '" lon="' + longitude.toFixed(7) + '"><name>' + xml(joint("joint_id", row))
    + "</name><desc>" + xml(capital(says.join(", "))) + "</desc></wpt>";
}

export function gpxOf(rows) {
  const { title } = record;
  return '<?xml version="1.0" encoding="UTF-8"?>\n'
    + '<gpx version="1.1" creator="asbuilt" xmlns="http://www.topografix.com/GPX/1/1">\n<metadata><name>'
    + xml(title.name + ", revision " + title.revision) + "</name><desc>" + xml(title.wgs84 + " " + title.caution) + "</desc></metadata>\n"
    + rows.map(waypoint).join("\n") + "\n</gpx>\n";
}

// A button that hands the waypoints of some joints to the device.
export function gpxButton(words, rows, name) {
  return button(words, () => {
    const address = URL.createObjectURL(new Blob([gpxOf(rows)], { type: "application/gpx+xml" }));
    const link = document.createElement("a");
    link.href = address;
    link.download = name.replace(/[^\w.-]+/g, "_") + ".gpx";
    link.click();
    window.setTimeout(() => URL.revokeObjectURL(address), 10000);
  });
}
