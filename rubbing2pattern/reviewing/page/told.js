// What a change does, in words.

import { WORDS, areaText, fill } from "./words.js";

const MOST = 6;
/** pieces named one by one */

/**
 * @param {import("./types.js").Change} change
 * @param {"mm" | "in"} units
 * @returns {string[]}
 */
export function told(change, units) {
  const words = WORDS.change;
  const lines = [...change.said];
  const fresh = change.areas.filter((a) => a.before === null).map((a) => a.number);
  const gone = change.areas.filter((a) => a.now === null).map((a) => a.number);
  if (fresh.length) lines.push(fill(words.piecesNew, { list: fresh.join(", ") }));
  if (gone.length) lines.push(fill(words.piecesGone, { list: gone.join(", ") }));
  const kept = change.areas.filter((a) => a.before !== null && a.now !== null);
  for (const { number, before, now } of kept.slice(0, MOST)) {
    lines.push(fill(words.area, { n: number, before: areaText(before ?? 0, units), now: areaText(now ?? 0, units) }));
  }
  if (kept.length > MOST) lines.push(fill(words.more, { n: kept.length - MOST }));
  if (!change.areas.length) lines.push(words.nothing);
  // The parts stand in a list or between semicolons: no full stop.
  const add = (/** @type {string} */ words, /** @type {string} */ text) => lines.push(fill(words, { words: text.replace(/\.$/, "") }));
  for (const text of change.findings_gone.slice(0, MOST)) add(words.findingGone, text);
  for (const text of change.findings_new.slice(0, MOST)) add(words.findingNew, text);
  return lines;
}
