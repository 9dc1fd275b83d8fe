// Hands on the tape: a drag moves it, a tap means what lies there. Pointer events, so that mouse, pen and finger are one.

const STILL = 6;  // pixels: less than that is a tap

// Calls `drag(moved, began)` with pixels from where it began, or `tap(x, y, isFinger)`; `begin()` gives what a drag
// starts from.
export function handle(place, { begin, drag, tap }) {
  let held = null;
  place.addEventListener("pointerdown", (event) => {
    if (held !== null || event.button !== 0) return;
    held = { id: event.pointerId, x: event.clientX, moved: false, began: begin(spotOf(place, event)) };
    place.setPointerCapture(event.pointerId);
  });
  place.addEventListener("pointermove", (event) => {
    if (held === null || event.pointerId !== held.id) return;
    const moved = event.clientX - held.x;
    held.moved = held.moved || Math.abs(moved) >= STILL;
    if (held.moved) drag(moved, held.began);
  });
  place.addEventListener("pointerup", (event) => {
    if (held === null || event.pointerId !== held.id) return;
    const isTap = !held.moved;
    held = null;
    if (isTap) tap(spotOf(place, event));
  });
  // The page was scrolled instead, or the window lost the pointer.
  place.addEventListener("pointercancel", (event) => { if (held !== null && event.pointerId === held.id) held = null; });
}

function spotOf(place, event) {
  const box = place.getBoundingClientRect();
  return { x: event.clientX - box.left, y: event.clientY - box.top, isFinger: event.pointerType !== "mouse" };
}
