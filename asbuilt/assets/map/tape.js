// The tape: everything on one axis, along one line. It lies under the map and moves with it: what is under the needle
// is what the map's centre is nearest to, and whoever draws the tape along draws the map along.

import { endsOf, lineNames } from "./along.js";
import { byId, element, fill } from "./elements.js";
import { joint } from "./record.js";
import { choose, onChange, state } from "./state.js";
import { handle } from "./tape_hand.js";
import { startKeys } from "./tape_keys.js";
import { axisFoot, drawHead, lanesFor, nameLanes, widthOfNames } from "./tape_lanes.js";
import { followChoice, followMap, lead, leadMap, setScale, showLine } from "./tape_map.js";
import { drawOverview, overviewChainage } from "./tape_overview.js";
import { setFont, sized, textSize, tone } from "./tape_paper.js";
import { chainageAt, here, sight } from "./tape_where.js";
import { needleWords } from "./tape_words.js";

const parts = { whole: null, strip: null, words: null, lines: null };  // elements
const shown = { lanes: [], meanings: [], asked: false };               // what was drawn last, and whether it is out of date

export function tapeState() {
  if (here.line === null) return null;
  const lanes = shown.lanes.map(({ name, top, foot }) => ({ name, top, foot }));
  return { line: here.line, chainage: here.chainage, ...sight(), metresPerPixel: here.perPixel, lanes };
}

export function startTape(map) {
  if (!lineNames.length) return;
  build(map);
  byId("tape").hidden = false;
  followMap(map);
  draw();
  map.on("move zoom zoomend", () => { followMap(map); ask(); });
  map.on("dragstart", () => { lead.walked = null; });
  window.addEventListener("resize", () => { setScale(map); ask(); });
  onChange((changed) => {
    if (changed.includes("choice")) followChoice(state.choice);
    if (changed.includes("choice")) followMap(map);
    ask();
  });
}

// ---- elements --------------------------------------------------------------------------------------------------------

function build(map) {
  parts.whole = element("canvas", { class: "tape-whole", "aria-hidden": "true" });
  parts.strip = element("canvas", { class: "tape-strip", tabindex: "0", role: "slider", "aria-orientation": "horizontal" });
  parts.words = element("p", { class: "tape-words" });
  parts.lines = lineNames.length > 1 ? lineChoice(map) : null;
  const label = parts.lines === null ? null : element("label", { class: "tape-line" }, "Line ", parts.lines);
  fill(byId("tape"), [element("div", { class: "tape-head" }, label, parts.whole), parts.strip, parts.words]);
  startKeys(map, parts.strip);
  startHands(map);
}

function lineChoice(map) {
  const options = lineNames.map((name) => element("option", { value: name }, name));
  return element("select", { change: (event) => { showLine(map, event.target.value); ask(); } }, options);
}

function startHands(map) {
  const go = throttled((chainage) => { leadMap(map, chainage); ask(); });
  handle(parts.strip, {
    begin: () => ({ chainage: here.chainage, perPixel: here.perPixel }),
    drag: (moved, began) => go(began.chainage - moved * began.perPixel),
    tap: (at) => meant(at, go),
  });
  const there = (x) => go(overviewChainage(x, parts.whole.getBoundingClientRect().width));
  handle(parts.whole, { begin: (at) => at.x, drag: (moved, began) => there(began + moved), tap: (at) => there(at.x) });
}

// Called as often as one likes, done once a frame, with the last of what was asked.
function throttled(done) {
  let last = null;
  return (what) => {
    if (last === null) window.requestAnimationFrame(() => { const now = last.what; last = null; done(now); });
    last = { what };
  };
}

// ---- taps ------------------------------------------------------------------------------------------------------------

// What a tap means: the thing that it is nearest to, in the lane under it or just beside; else the place on the axis.
function meant(at, go) {
  const slack = at.isFinger ? 8 : 1, reach = at.isFinger ? 22 : 10;
  const near = shown.meanings.filter((one) => at.y >= one.top - slack && at.y <= one.foot + slack).map((one) => ({
    ...one, far: Math.max(one.left - at.x, at.x - one.right, 0), side: Math.max(one.top - at.y, at.y - one.foot, 0),
  })).filter((one) => one.far <= reach && (at.x >= here.names || one.isApart));
  // A joint is told before a gap that it bounds, and what is under the finger before what is beside it.
  near.sort((a, b) => a.side - b.side || a.far - b.far || (a.choice.kind === "joint" ? -1 : 1));
  if (near.length) return choose(near[0].choice);
  if (at.x >= here.names && at.y < axisFoot(shown.lanes)) go(chainageAt(at.x));
}

// ---- drawing ---------------------------------------------------------------------------------------------------------

function ask() {
  if (shown.asked) return;
  shown.asked = true;
  window.requestAnimationFrame(draw);
}

function draw() {
  shown.asked = false;
  drawStrip();
  drawOverview(parts.whole);
  say();
}

function drawStrip() {
  const width = Math.floor(byId("tape").clientWidth);
  if (width < 40) return;
  here.width = width;
  const size = textSize(width), lanes = lanesFor(size), foot = lanes[lanes.length - 1].foot;
  const c = sized(parts.strip, width, foot);
  setFont(c, size, false);
  here.names = widthOfNames(c, lanes);
  c.fillStyle = tone.paper;
  c.fillRect(0, 0, width, foot);
  shown.lanes = lanes;
  shown.meanings = lanes.flatMap((lane) => drawLane(c, lane));
  nameLanes(c, lanes);
  drawHead(c);
}

function drawLane(c, lane) {
  c.save();
  c.beginPath();
  c.rect(0, lane.top, here.width, lane.foot - lane.top);
  c.clip();
  const meanings = lane.draw(c, lane);
  c.restore();
  return meanings.map((one) => ({ ...one, top: lane.top, foot: lane.foot, isApart: lane.isApart === true }));
}

// ---- words -----------------------------------------------------------------------------------------------------------

function walkedHere() {
  const { walked } = lead;
  if (walked === null || joint("line", walked) !== here.line) return null;
  return Math.abs(joint("chainage_m", walked) - here.chainage) <= 1.5 * here.perPixel ? walked : null;
}

function say() {
  const words = needleWords(walkedHere()), { from, to } = endsOf(here.line), round = (value) => String(Math.round(value * 100) / 100);
  fill(parts.words, here.width < 700 ? words.brief : words.whole);
  const now = {
    "aria-label": "Along line " + here.line, "aria-valuemin": round(from), "aria-valuemax": round(to),
    "aria-valuenow": round(here.chainage), "aria-valuetext": words.whole,
  };
  Object.entries(now).forEach(([name, value]) => parts.strip.setAttribute(name, value));
  if (parts.lines !== null && parts.lines.value !== here.line) parts.lines.value = here.line;
}
