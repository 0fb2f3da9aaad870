// How the state and the action of a piece are drawn: hatches that can be told apart without colour.
// The document condition.pdf has the same, see `documents/drawing/condition.py`.

import { draw } from "./dom.js";

/** State: angle of its lines in degrees and their distance in mm; broken has two directions. */
export const STATES = /** @type {Record<string, [number[], number]>} */ ({
  whole: [[135], 10],
  cracked: [[45], 5],
  broken: [[45, 135], 5],
  missing: [[0], 2.5],
  "former repair": [[90], 5],
});

/** Action: the letter that is stamped beside the number. */
export const ACTIONS = /** @type {Record<string, string>} */ ({
  keep: "K", "edge-bond": "E", "copper foil": "F", "mending lead": "M", plate: "P", replace: "R",
});

/** @param {Record<string, string>} entry @returns {string} id of the pattern, or nothing */
export function hatchFor(entry) {
  return entry.state || entry.action ? `hatch-${key(entry.state ?? "")}-${ACTIONS[entry.action ?? ""] ?? ""}` : "";
}

/** @param {string} state */
const key = (state) => state.replace(" ", "_");

/** @returns {Element} the patterns of all states and actions */
export function patterns() {
  const defs = draw("defs", {});
  for (const [state, hatch] of [["", [[], 0]], ...Object.entries(STATES)]) {
    for (const letter of ["", ...Object.values(ACTIONS)]) defs.append(pattern(String(state), /** @type {[number[], number]} */ (hatch), letter));
  }
  return defs;
}

/** @param {string} state @param {[number[], number]} hatch @param {string} letter */
function pattern(state, [angles, step], letter) {
  const side = 15;
  const whole = draw("pattern", { id: `hatch-${key(state)}-${letter}`, width: side, height: side, patternUnits: "userSpaceOnUse" });
  whole.append(draw("rect", { width: side, height: side, class: "hatch-ground" }));
  for (const angle of angles) whole.append(draw("path", { d: lines(angle, step, side), class: "hatch-line" }));
  if (letter) {
    whole.append(draw("circle", { cx: side / 2, cy: side / 2, r: 2.9, class: "hatch-stamp" }));
    whole.append(draw("text", { x: side / 2, y: side / 2, class: "hatch-letter" }, letter));
  }
  return whole;
}

/** @param {number} angle @param {number} step @param {number} side */
function lines(angle, step, side) {
  let d = "";
  for (let at = -side; at <= 2 * side; at += angle % 90 ? step * 1.5 : step) {
    if (angle === 0) d += `M0 ${at}H${side}`;
    else if (angle === 90) d += `M${at} 0V${side}`;
    else if (angle === 45) d += `M${at} ${side}L${at + side} 0`;
    else d += `M${at} 0L${at + side} ${side}`;
  }
  return d;
}
