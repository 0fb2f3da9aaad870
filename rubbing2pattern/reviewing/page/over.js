// What is drawn over the net: the effect of a change before it is made, what is being drawn or
// dragged, the tape, the cross. All in pixels of the screen, so it is laid out anew at every move.

import { atNextFrame, draw } from "./dom.js";
import { areaText } from "./words.js";

/** @typedef {import("./types.js").Point} Point */
/** @typedef {import("./types.js").Change} Change */

export class Over {
  /** @type {Change | null} */
  effect = null;
  /** @type {{line: Point[], width: number, snapped: Point | null} | null} */
  drawn = null;
  /** @type {Point[][]} */
  grabbed = [];
  /** @type {Point[]} */
  tape = [];
  /** @type {{at: Point, kind: string} | null} */
  near = null;
  crossed = false;
  grid = false;
  /** Draw at the next frame. */
  ask = atNextFrame(() => this.#draw());

  /**
   * @param {SVGSVGElement} svg
   * @param {import("./review.js").Review} review
   * @param {import("./view.js").View} view
   */
  constructor(svg, review, view) {
    this.svg = svg;
    this.review = review;
    this.view = view;
    view.addEventListener("moved", () => this.ask());
    review.addEventListener("changed", () => this.show({ effect: null, grabbed: [], drawn: null }));
  }

  /** @param {Partial<Pick<Over, "effect" | "drawn" | "grabbed" | "tape" | "near" | "crossed" | "grid">>} what */
  show(what) {
    Object.assign(this, what);
    this.ask();
  }

  #draw() {
    const parts = [];
    if (this.grid) parts.push(...this.#gridLines());
    if (this.effect) parts.push(...this.#effectParts(this.effect));
    for (const line of this.grabbed) parts.push(this.#line(line, "grabbed"));
    if (this.drawn) parts.push(...this.#drawnParts(this.drawn));
    if (this.tape.length) parts.push(...this.#tapeParts());
    if (this.near) {
      const [x, y] = this.view.toScreen(this.near.at);
      parts.push(draw("circle", { cx: x, cy: y, r: 10, class: `near ${this.near.kind}` }));
    }
    if (this.crossed) {
      const [x, y] = [this.view.width / 2, this.view.height / 2];
      const d = `M${x - 16} ${y}h12m8 0h12M${x} ${y - 16}v12m0 8v12`;
      parts.push(draw("path", { d, class: "cross under" }), draw("path", { d, class: "cross" }));
    }
    this.svg.replaceChildren(...parts);
  }

  /** @param {Point[]} line */
  #d(line) {
    return line.map((p, k) => `${k ? "L" : "M"}${this.view.toScreen(p).map((v) => v.toFixed(1)).join(" ")}`).join("");
  }

  /** @param {Point[]} line @param {string} kind */
  #line(line, kind) {
    return draw("path", { d: this.#d(line), class: kind });
  }

  /** @param {Change} effect */
  #effectParts(effect) {
    const parts = [];
    const { cames } = this.review;
    for (const piece of effect.net.pieces) {
      const area = effect.areas.find((a) => a.number === piece.number);
      if (!area) continue;
      parts.push(draw("path", { d: piece.rings.map((ring) => `${this.#d(points(ring))}Z`).join(""), class: "effect-glass" }));
    }
    for (const id of effect.gone.cames) {
      const came = cames.get(id);
      if (came) parts.push(this.#line(points(came.line), "effect-gone under"), this.#line(points(came.line), "effect-gone"));
    }
    for (const came of effect.net.cames) {
      const before = cames.get(came.id);
      const kind = before && same(before.line, came.line) ? "effect-changed" : "effect-new";
      if (before && kind === "effect-new") parts.push(this.#line(points(before.line), "effect-gone"));
      if (kind === "effect-new" || before?.width !== came.width) parts.push(this.#line(points(came.line), `${kind} under`), this.#line(points(came.line), kind));
    }
    for (const piece of effect.net.pieces) {
      const area = effect.areas.find((a) => a.number === piece.number);
      if (!area) continue;
      const [x, y] = this.view.toScreen(piece.at);
      const words = `${piece.number}: ${areaText(area.now ?? 0, this.review.session.units)}`;
      parts.push(draw("text", { x, y, class: "effect-words" }, words));
    }
    return parts;
  }

  /** @param {{line: Point[], snapped: Point | null}} drawn */
  #drawnParts({ line, snapped }) {
    const parts = [];
    const whole = snapped ? [...line, snapped] : line;
    const smooth = whole.length > 2 ? curve(whole) : whole;
    parts.push(this.#line(smooth, "drawn under"), this.#line(smooth, "drawn"));
    for (const point of line) {
      const [cx, cy] = this.view.toScreen(point);
      parts.push(draw("circle", { cx, cy, r: 6, class: "drawn-point" }));
    }
    return parts;
  }

  #tapeParts() {
    const parts = [this.#line(this.tape, "tape under"), this.#line(this.tape, "tape")];
    for (const point of this.tape) {
      const [cx, cy] = this.view.toScreen(point);
      parts.push(draw("circle", { cx, cy, r: 5, class: "tape-end" }));
    }
    return parts;
  }

  #gridLines() {
    const { view } = this;
    const step = [1, 5, 10, 50, 100].find((mm) => mm * view.scale >= 7) ?? 500;
    const [left, top] = view.toPaper([0, 0]);
    const [right, low] = view.toPaper([view.width, view.height]);
    /** @type {string[]} */
    const thin = [];
    /** @type {string[]} */
    const thick = [];
    for (let x = Math.ceil(left / step) * step; x <= right; x += step) {
      const at = view.toScreen([x, 0])[0].toFixed(1);
      (Math.round(x / step) % 10 ? thin : thick).push(`M${at} 0V${view.height}`);
    }
    for (let y = Math.ceil(low / step) * step; y <= top; y += step) {
      const at = view.toScreen([0, y])[1].toFixed(1);
      (Math.round(y / step) % 10 ? thin : thick).push(`M0 ${at}H${view.width}`);
    }
    return [draw("path", { d: thin.join(""), class: "grid" }), draw("path", { d: thick.join(""), class: "grid thick" })];
  }
}

/** @param {number[]} line @returns {Point[]} */
export function points(line) {
  /** @type {Point[]} */
  const found = [];
  for (let k = 0; k < line.length; k += 2) found.push([line[k], line[k + 1]]);
  return found;
}

/** @param {number[]} one @param {number[]} other */
const same = (one, other) => one.length === other.length && one.every((v, k) => Math.abs(v - other[k]) < 0.05);

/**
 * The line that the server will draw through places: an arc through three, a smooth one through more.
 * @param {Point[]} places
 * @returns {Point[]}
 */
export function curve(places) {
  return places.length === 3 ? arc(places[0], places[1], places[2]) : smooth(places);
}

/** @param {Point} a @param {Point} b @param {Point} c @returns {Point[]} */
function arc(a, b, c) {
  const d = 2 * (a[0] * (b[1] - c[1]) + b[0] * (c[1] - a[1]) + c[0] * (a[1] - b[1]));
  if (Math.abs(d) < 1e-6) return [a, b, c];
  const [qa, qb, qc] = [a, b, c].map((p) => p[0] ** 2 + p[1] ** 2);
  const x = (qa * (b[1] - c[1]) + qb * (c[1] - a[1]) + qc * (a[1] - b[1])) / d;
  const y = (qa * (c[0] - b[0]) + qb * (a[0] - c[0]) + qc * (b[0] - a[0])) / d;
  const turn = (/** @type {Point} */ p) => Math.atan2(p[1] - y, p[0] - x);
  const radius = Math.hypot(a[0] - x, a[1] - y);
  const full = 2 * Math.PI;
  const to = (turn(c) - turn(a) + full) % full;
  const by = (turn(b) - turn(a) + full) % full;
  const sweep = by <= to ? to : to - full;
  return Array.from({ length: 25 }, (_, k) => {
    const t = turn(a) + (sweep * k) / 24;
    return /** @type {Point} */ ([x + radius * Math.cos(t), y + radius * Math.sin(t)]);
  });
}

/** @param {Point[]} places @returns {Point[]} */
function smooth(places) {
  /** @type {Point[]} */
  const found = [];
  for (let k = 0; k + 1 < places.length; k += 1) {
    const [p0, p1, p2, p3] = [places[Math.max(0, k - 1)], places[k], places[k + 1], places[Math.min(places.length - 1, k + 2)]];
    for (let s = 0; s < 8; s += 1) {
      const t = s / 8;
      const at = (/** @type {0 | 1} */ i) =>
        0.5 * (2 * p1[i] + (p2[i] - p0[i]) * t + (2 * p0[i] - 5 * p1[i] + 4 * p2[i] - p3[i]) * t * t + (3 * p1[i] - p0[i] - 3 * p2[i] + p3[i]) * t ** 3);
      found.push([at(0), at(1)]);
    }
  }
  return [...found, places[places.length - 1]];
}
