// What the reader has chosen. Whoever shows something listens; nobody else keeps a state of the page.

export const state = {
  choice: null,    // what the card is about: {kind: "joint", "gap" or "finding", row}, {kind: "station", line, chainage}, or null
  evening: null,   // day (since 1970-01-01, clock of the route) whose evening is shown; null: the whole record
  picked: null,    // {title, rows: Set of joints} that a search has picked out; null: none
  fixes: false,    // whether the recorded fixes are drawn for all joints in sight
  sun: false,      // high contrast
  phone: null,     // {latitude, longitude, accuracy} of the device, in WGS 84
  follows: false,  // whether the device is asked for it
  sharpness: null, // pixels of ink for each pixel of the drawing, while it goes to paper; null: as the screen has them
};

const listeners = [];

// `listener(changed)` is called with the names of what changed, after it did.
export function onChange(listener) { listeners.push(listener); }

export function change(what) {
  Object.assign(state, what);
  const names = Object.keys(what);
  listeners.forEach((listener) => listener(names));
}

// Chooses a joint, a gap or a station. `move` brings the map to it, which a tap on the map itself does not need;
// `open` shows its card, which walking along a list does not want.
export function choose(choice, { move = true, open = true } = {}) {
  change({ choice: choice === null ? null : { ...choice, move, open } });
}

export function isChosen(kind, row) {
  return state.choice !== null && state.choice.kind === kind && state.choice.row === row;
}
