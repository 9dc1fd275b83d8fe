// What the tape shows: which line, what chainage lies under the needle, and how many metres a pixel is, which is the
// map's own scale. Pixels are those of the tape, from its left edge; the needle stands in the middle of its width.

import { endsOf, lineNames } from "./along.js";

export const here = { line: lineNames.length ? lineNames[0] : null, chainage: 0, perPixel: 1, width: 0, names: 0 };

export function middle() { return here.width / 2; }

export function pixelAt(chainage) { return middle() + (chainage - here.chainage) / here.perPixel; }

export function chainageAt(x) { return here.chainage + (x - middle()) * here.perPixel; }

export function onLine(chainage) {
  const { from, to } = endsOf(here.line);
  return Math.max(from, Math.min(to, chainage));
}

// Whether something is in sight whole: half a number would be another number.
export function isWhole(left, right) { return left >= here.names + 2 && right <= here.width - 2; }

// The stretch of the line in sight, to the right of the names of the lanes.
export function sight() {
  return { from: onLine(chainageAt(here.names)), to: onLine(chainageAt(here.width)) };
}
