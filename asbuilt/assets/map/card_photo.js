// The photos of a joint: small copies that lie in the page, shown small and enlarged in place.

import { button, byId, element, said, section } from "./elements.js";
import { joint } from "./record.js";

const part = byId("photos");
let album = null;  // read when a card first asks: the page opens without it

function photosOf(row) {
  if (part === null) return [];
  album = album || JSON.parse(part.textContent);
  return album[row] || [];
}

export function photoSection(row) {
  const photos = photosOf(row);
  if (!photos.length) return null;
  const carried = photos.some(([, , , jpeg]) => jpeg !== "");
  return section(photos.length > 1 ? "Photos" : "Photo", [
    photos.map((one) => (one[3] === "" ? notCarried(one) : figure(one, row))),
    carried ? element("p", { class: "note" }, "A small copy of what the record names. A photo does not prove that a joint is sound.") : null,
  ]);
}

function notCarried([name, , , , why]) {
  return element("p", { class: "no-photo" }, "Photo not carried in this page: ", said(name), " (" + why + ").");
}

function figure([name, width, height, jpeg], row) {
  const picture = element("img", { src: "data:image/jpeg;base64," + jpeg, width, height, loading: "lazy",
    alt: "Photo of joint " + joint("joint_id", row) + " as recorded: " + name });
  const press = button(picture, () => {
    press.setAttribute("aria-expanded", String(press.getAttribute("aria-expanded") !== "true"));
  }, { class: "photo", "aria-expanded": "false" });
  return element("figure", { class: "photo-of" }, press, element("figcaption", {}, said(name)));
}
