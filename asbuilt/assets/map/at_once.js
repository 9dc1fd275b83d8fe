// The sentence at the head of the page, as of the evening that is shown. Its first state is written by the Python side,
// in the same words, so that it stands without scripts.

import { counts, days, idleText } from "./days.js";
import { byId, element, fill } from "./elements.js";
import { onChange, state } from "./state.js";
import { signFor } from "./signs.js";
import { record } from "./record.js";
import { countText, dayText, many, metresPerUnit, unitName } from "./text.js";

export function startAtOnce() {
  if (!days.length) return;
  const whole = Array.from(byId("at-once").childNodes);  // kept: the whole record comes back as it was written
  onChange((changed) => {
    if (!changed.includes("evening")) return;
    document.documentElement.classList.toggle("as-of-a-day", state.evening !== null);
    if (state.evening === null) byId("at-once").replaceChildren(...whole); else fill(byId("at-once"), sentence(counts()));
  });
}

function signed(kind, value, words) {
  return element("span", { class: "counted" }, signFor(kind, value), words);
}

function verdictParts(found, kind) {
  const shown = record.look.in_order.filter((verdict) => found[verdict] || record.look.always.includes(verdict));
  return shown.flatMap((verdict, i) => [i ? ", " : "", signed(kind, verdict, countText(found[verdict]) + " " + verdict)]);
}

function sentence(found) {
  const { covered, length } = found, idle = idleText(), units = (metres) => countText(Math.round(metres / metresPerUnit));
  return element("p", {}, element("strong", {}, "By the evening of " + dayText(state.evening) + (idle === null ? "" : " (" + idle + ")") + ": "), many(found.joints, "joint") + ": ",
    verdictParts(found.fusion, "fusion"), "; ",
    signed("gap", "", many(found.gaps, "gap") + " with " + many(found.missing, "missing record")), ", ",
    countText(found.unplaced) + " unplaced; ", units(covered) + " of " + units(length) + " " + unitName + " covered.");
}
