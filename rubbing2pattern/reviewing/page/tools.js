// What a tap on the paper does: look, draw a lead, shift, tape.

import { distance, nearestCame, nearestJoint, pieceAt } from "./near.js";
import { points } from "./over.js";
import { read } from "./server.js";
import { WORDS, fill, lengthText } from "./words.js";

/** @typedef {import("./types.js").Point} Point */
/** @typedef {{review: import("./review.js").Review, over: import("./over.js").Over, several: () => boolean, begun: () => void}} Bench */

const ROUND = 1000;
/** places are sent in thousandths of a millimetre */

const RIDGE_MM = 4;
/** how far a place is moved onto the lead that the rubbing shows */

/** @param {Point} p @returns {Point} */
const rounded = (p) => [Math.round(p[0] * ROUND) / ROUND, Math.round(p[1] * ROUND) / ROUND];

/** Tap to choose a joint, a lead or a piece. */
export class Look {
  /** @param {Bench} bench */
  constructor(bench) {
    this.bench = bench;
  }

  /** @param {Point} at @param {number} reach */
  tap(at, reach) {
    const { review, several } = this.bench;
    const joint = nearestJoint(review, at, reach * 0.7);
    const came = joint ? null : nearestCame(review, at, reach);
    if (joint) return review.choose([{ kind: "joint", id: joint.id }]);
    if (came) return review.choose([{ kind: "came", id: came.id }]);
    const number = pieceAt(review, at);
    if (number === null) return review.choose([]);
    /** @type {import("./types.js").Thing} */
    const piece = { kind: "piece", number };
    const known = review.chosenPieces;
    if (!several() || !known.length) return review.choose([piece]);
    const others = known.filter((n) => n !== number).map((n) => /** @type {import("./types.js").Thing} */ ({ kind: "piece", number: n }));
    return review.choose(known.includes(number) ? others : [...others, piece]);
  }
}

/** Tap the places of a lead; the ends snap to joints and leads. */
export class DrawLead {
  /** @type {Point[]} */
  line = [];

  /** @param {Bench} bench */
  constructor(bench) {
    this.bench = bench;
  }

  /** @param {Point} at @param {number} reach */
  #snapped(at, reach) {
    const { review } = this.bench;
    return nearestJoint(review, at, reach) ?? nearestCame(review, at, reach);
  }

  /** @param {Point} at @param {number} reach */
  hover(at, reach) {
    const near = this.#snapped(at, reach);
    this.bench.over.show({ near, drawn: this.line.length ? { line: this.line, width: 1, snapped: near?.at ?? at } : null });
  }

  /** A place between two leads is put on the lead that the rubbing shows there. @param {Point} at @param {number} reach */
  async #onRidge(at, reach) {
    const k = this.line.length;
    const { at: ridge } = await read(`/ridge?x=${at[0].toFixed(2)}&y=${at[1].toFixed(2)}&reach=${Math.min(reach, RIDGE_MM).toFixed(2)}`);
    if (!ridge || this.line[k - 1] !== at) return;
    this.line = [...this.line.slice(0, k - 1), rounded(ridge)];
    this.#show();
  }

  /** @param {Point} at @param {number} reach */
  tap(at, reach) {
    const last = this.line[this.line.length - 1];
    if (last && distance(last, at) < reach) {
      if (this.line.length > 1) void this.end();
      return;
    }
    const near = this.#snapped(at, reach);
    const place = rounded(near?.at ?? at);
    this.line = [...this.line, place];
    this.#show();
    if (near && this.line.length > 1) void this.end();
    else if (!near) void this.#onRidge(place, reach).catch(() => undefined);
  }

  #show() {
    this.bench.over.show({ near: null, drawn: this.line.length ? { line: this.line, width: 1, snapped: null } : null });
    this.bench.begun();
  }

  /** @param {{width?: number, free?: boolean}} [more] */
  async end({ width, free } = {}) {
    if (this.line.length < 2) return;
    const [from, to] = [this.line[0], this.line[this.line.length - 1]];
    const through = this.line.slice(1, -1);
    const edit = { kind: "add_lead", from, to, ...(through.length ? { through } : {}), ...(width ? { width_mm: width } : {}), ...(free ? { free_end: true } : {}) };
    if (await this.bench.review.edit([edit])) this.leave();
  }

  backOne() {
    this.line = this.line.slice(0, -1);
    this.#show();
  }

  leave() {
    this.line = [];
    this.#show();
  }
}

/** Drag a joint, or a lead between its joints. */
export class Shift {
  /** @type {{kind: "joint" | "came", id: string, from: Point} | null} */
  #held = null;

  /** @param {Bench} bench */
  constructor(bench) {
    this.bench = bench;
    this.look = new Look(bench);
  }

  /** @param {Point} at @param {number} reach */
  tap(at, reach) {
    this.look.tap(at, reach);
  }

  /** @param {Point} at @param {number} reach */
  hover(at, reach) {
    const { review } = this.bench;
    this.bench.over.show({ near: nearestJoint(review, at, reach) ?? nearestCame(review, at, reach) });
  }

  /** @param {Point} at @param {number} reach */
  grab(at, reach) {
    const { review, over } = this.bench;
    const near = nearestJoint(review, at, reach) ?? nearestCame(review, at, reach);
    this.#held = near && { kind: near.kind, id: near.id, from: near.at };
    if (near) over.show({ near, effect: null });
    return near !== null;
  }

  /** @param {Point} at */
  drag(at) {
    if (!this.#held) return;
    const { review, over } = this.bench;
    const { kind, id, from } = this.#held;
    /** @type {Point} */
    const by = [at[0] - from[0], at[1] - from[1]];
    if (kind === "came") {
      const came = review.cames.get(id);
      over.show({ near: { at, kind }, grabbed: came ? [points(came.line).map((p) => /** @type {Point} */ ([p[0] + by[0], p[1] + by[1]]))] : [] });
      return;
    }
    const cames = [...review.cames.values()].filter((c) => c.start === id || c.end === id);
    over.show({ near: { at, kind }, grabbed: cames.map((came) => pulled(points(came.line), came.start === id, came.end === id, by)) });
  }

  /** @param {Point} at */
  drop(at) {
    if (!this.#held) return;
    const { kind, id, from } = this.#held;
    this.#held = null;
    const to = rounded(at);
    const by = rounded([at[0] - from[0], at[1] - from[1]]);
    const edit = kind === "joint" ? { kind: "move_joint", joint: id, to } : { kind: "move_lead", came: id, by };
    this.bench.over.show({ near: null });
    void this.bench.review.edit([edit]).then(() => this.leave());
  }

  leave() {
    this.#held = null;
    this.bench.over.show({ near: null, grabbed: [] });
  }
}

/**
 * A line whose ends are pulled, the pull fading along it.
 * @param {Point[]} line @param {boolean} start @param {boolean} end @param {Point} by
 * @returns {Point[]}
 */
function pulled(line, start, end, by) {
  let length = 0;
  const along = line.map((p, k) => (length += k ? distance(p, line[k - 1]) : 0));
  return line.map((p, k) => {
    const t = length ? along[k] / length : 0;
    const share = Math.min(1, (start ? 1 - t : 0) + (end ? t : 0));
    return [p[0] + share * by[0], p[1] + share * by[1]];
  });
}

/** Measure between two places, which snap to joints. */
export class Tape {
  /** @param {Bench} bench */
  constructor(bench) {
    this.bench = bench;
    /** @type {Point | null} */
    this.first = null;
  }

  /** @param {Point} at @param {number} reach */
  tap(at, reach) {
    const near = nearestJoint(this.bench.review, at, reach * 0.7);
    const place = near?.at ?? at;
    if (!this.first) {
      this.first = place;
      this.bench.over.show({ tape: [place] });
      return;
    }
    this.bench.over.show({ tape: [this.first, place] });
    this.bench.review.say(this.#told(this.first, place));
    this.first = null;
  }

  /** @param {Point} at */
  hover(at) {
    if (!this.first) return;
    this.bench.over.show({ tape: [this.first, at] });
    this.bench.review.say(this.#told(this.first, at));
  }

  /** @param {Point} a @param {Point} b */
  #told(a, b) {
    const { units } = this.bench.review.session;
    const text = (/** @type {number} */ mm) => lengthText(Math.abs(mm), units);
    return fill(WORDS.tape, { length: text(distance(a, b)), across: text(b[0] - a[0]), up: text(b[1] - a[1]) });
  }

  leave() {
    this.first = null;
    this.bench.over.show({ tape: [] });
  }
}
