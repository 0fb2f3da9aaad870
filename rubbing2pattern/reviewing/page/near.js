// What lies near a place of the paper: joints, leads, pieces.

import { points } from "./over.js";

/** @typedef {import("./types.js").Point} Point */
/** @typedef {{at: Point, distance: number, kind: "joint" | "came", id: string}} Near */

/** @param {Point} p @param {Point} a @param {Point} b @returns {Point} nearest place of a to b */
export function onLine(p, a, b) {
  const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
  const square = dx * dx + dy * dy;
  const t = square ? Math.min(1, Math.max(0, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / square)) : 0;
  return [a[0] + t * dx, a[1] + t * dy];
}

/** @param {Point} a @param {Point} b */
export const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);

/**
 * @param {import("./review.js").Review} review
 * @param {Point} at
 * @param {number} reach mm
 * @returns {Near | null}
 */
export function nearestJoint(review, at, reach) {
  /** @type {Near | null} */
  let best = null;
  for (const joint of review.joints.values()) {
    const far = distance(at, joint.at);
    if (far <= (best?.distance ?? reach)) best = { at: joint.at, distance: far, kind: "joint", id: joint.id };
  }
  return best;
}

/**
 * @param {import("./review.js").Review} review
 * @param {Point} at
 * @param {number} reach mm
 * @returns {Near | null}
 */
export function nearestCame(review, at, reach) {
  /** @type {Near | null} */
  let best = null;
  for (const came of review.cames.values()) {
    const line = points(came.line);
    for (let k = 0; k + 1 < line.length; k += 1) {
      const place = onLine(at, line[k], line[k + 1]);
      const far = distance(at, place);
      if (far <= (best?.distance ?? reach)) best = { at: place, distance: far, kind: "came", id: came.id };
    }
  }
  return best;
}

/** @param {import("./review.js").Review} review @param {Point} at @returns {number | null} */
export function pieceAt(review, at) {
  for (const piece of review.pieces.values()) {
    if (piece.rings.reduce((inside, ring) => (crossed(ring, at) ? !inside : inside), false)) return piece.number;
  }
  return null;
}

/** @param {number[]} ring @param {Point} at whether it lies inside (even-odd) */
function crossed(ring, [x, y]) {
  let inside = false;
  for (let k = 0, j = ring.length - 2; k < ring.length; j = k, k += 2) {
    const [x1, y1, x2, y2] = [ring[k], ring[k + 1], ring[j], ring[j + 1]];
    if (y1 > y !== y2 > y && x < ((x2 - x1) * (y - y1)) / (y2 - y1) + x1) inside = !inside;
  }
  return inside;
}
