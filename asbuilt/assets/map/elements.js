// How elements are made. Text reaches the page as text nodes only, never as markup.

export function element(tag, attributes, ...children) {
  const made = document.createElement(tag);
  Object.entries(attributes || {}).forEach(([name, value]) => {
    if (typeof value === "function") made.addEventListener(name, value);
    else if (value !== null) made.setAttribute(name, value);
  });
  children.forEach((child) => add(made, child));
  return made;
}

export function add(parent, child) {
  if (child === null || child === undefined) return;
  if (Array.isArray(child)) child.forEach((one) => add(parent, one));
  else parent.appendChild(child instanceof Node ? child : document.createTextNode(String(child)));
}

export function fill(place, children) {
  place.textContent = "";
  add(place, children);
}

export function byId(id) { return document.getElementById(id); }

// A value as somebody else wrote it. <bdi> keeps its writing direction from running into its neighbours.
export function said(text) {
  return text === null ? null : element("bdi", {}, text);
}

// A <dl> of pairs; a pair without a value is left out.
export function pairs(list) {
  const kept = list.filter((pair) => pair[1] !== null && pair[1] !== undefined && pair[1] !== "");
  return element("dl", { class: "pairs" }, kept.map(([name, value]) =>
    element("div", {}, element("dt", {}, name), element("dd", {}, typeof value === "string" ? said(value) : value))));
}

export function section(heading, children) {
  return element("section", {}, element("h3", {}, heading), children);
}

export function button(words, press, attributes) {
  return element("button", { type: "button", click: press, ...attributes }, words);
}

export function isCalm() { return window.matchMedia("(prefers-reduced-motion: reduce)").matches; }
