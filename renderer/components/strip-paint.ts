/**
 * Draws strips on animation frames only, oldest request first, and leaves the rest to the next frame once a frame's
 * share of time is used up: however many strips are open, the page stays quick to answer. A hidden page gets no
 * animation frames, so nothing is drawn there.
 */

/** ms per animation frame for all strips together. */
const share = 8;

const waiting = new Set<() => void>();
let asked = false;

function paint(): void {
  asked = false;
  const began = performance.now();
  for (const draw of waiting) {
    waiting.delete(draw);
    draw();
    if (performance.now() - began > share) break;
  }
  if (waiting.size > 0) ask();
}

function ask(): void {
  if (asked) return;
  asked = true;
  requestAnimationFrame(paint);
}

/** Draws once, soon; asking again before it was drawn changes nothing. */
export function paintSoon(draw: () => void): void {
  waiting.add(draw);
  ask();
}

export function paintNever(draw: () => void): void {
  waiting.delete(draw);
}
