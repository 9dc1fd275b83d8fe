// The tape under the keyboard: from joint to joint, to the ends of the line, and to the card.

import { endsOf } from "./along.js";
import { joint } from "./record.js";
import { choose } from "./state.js";
import { lead, leadMap } from "./tape_map.js";
import { nearestMade, walkedFrom } from "./tape_record.js";
import { here } from "./tape_where.js";

const STEPS = { ArrowLeft: -1, ArrowRight: 1, ArrowDown: -1, ArrowUp: 1, PageDown: -10, PageUp: 10 };

// From the joint that was last chosen; from the needle where none is, or where it is on another line.
function walk(steps) {
  const from = lead.walked !== null && joint("line", lead.walked) === here.line ? lead.walked : null;
  const row = walkedFrom(here.line, from, here.chainage, steps);
  if (row !== null) choose({ kind: "joint", row }, { open: false });
}

function openNearest() {
  const row = lead.walked === null ? nearestMade(here.line, here.chainage) : lead.walked;
  if (row !== null) choose({ kind: "joint", row });
}

export function startKeys(map, place) {
  place.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const key = event.key;
    if (key in STEPS) walk(STEPS[key]);
    else if (key === "Home" || key === "End") leadMap(map, endsOf(here.line)[key === "Home" ? "from" : "to"]);
    else if (key === "Enter") openNearest();
    else return;
    event.preventDefault();
  });
}
