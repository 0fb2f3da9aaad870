// The net as one drawing over the rubbing. While the paper moves it is only pushed by a transform
// of the style sheet; when the paper rests it is laid out anew.

import { draw } from "./dom.js";
import { hatchFor } from "./hatch.js";

/** @typedef {import("./types.js").Point} Point */

const REST_MS = 110;
/** a paper that has not moved for so long is at rest */
const SPARE = 0.35;
/** share of the window that is drawn beyond each edge, so that a short push shows no gap */
const NUMBER_PX = 16;
const LEAST_PX = 10;
const NAME_PX = 12;
/** heights of numbers, at most and at least, and of names on the screen */
const HATCH_PX = 4;
/** pixels of the screen for each unit of a hatch */
const NAME_SHARE = 7;
/** a name is shown when a lead is some seven times as long as it is high */
const ROOM = 1.15;
/** height of a number by the radius of the free circle of its piece */
const SMALLEST = 0.5;
const FULL_FROM = 2.5;
/** signs of findings are half as large until so many pixels show a mm */
const JOINTS_FROM = 2.2;
/** pixels for each mm from which on joints are drawn; farther off they would hide the leads */

/** @param {number[]} line @param {boolean} [closed] */
export function path(line, closed = false) {
  let text = "";
  for (let k = 0; k < line.length; k += 2) text += `${k ? "L" : "M"}${line[k]} ${-line[k + 1]}`;
  return closed ? `${text}Z` : text;
}

/** @param {number[]} line @returns {Point} */
export function middle(line) {
  const k = 2 * Math.floor(line.length / 4);
  if (line.length > 4) return [line[k], line[k + 1]];
  return [(line[0] + line[2]) / 2, (line[1] + line[3]) / 2];
}

export class NetDrawing {
  #rest = { centre: /** @type {Point} */ ([0, 0]), scale: 1 };
  #timer = 0;
  #drawn = "";

  /**
   * @param {SVGSVGElement} svg
   * @param {HTMLElement} layer
   * @param {import("./review.js").Review} review
   * @param {import("./view.js").View} view
   */
  constructor(svg, layer, review, view) {
    this.svg = svg;
    this.layer = layer;
    this.review = review;
    this.view = view;
    /** @type {Record<string, Element>} */
    this.groups = {};
    for (const name of ["glass", "bands", "lines", "joints", "numbers", "names", "marks"]) {
      this.groups[name] = draw("g", { class: name });
      svg.append(this.groups[name]);
    }
    review.addEventListener("loaded", () => this.#whole());
    review.addEventListener("changed", (event) => this.#part(/** @type {CustomEvent} */ (event).detail));
    review.addEventListener("chosen", () => this.#choose());
    view.addEventListener("moved", () => this.#push());
  }

  #whole() {
    for (const group of Object.values(this.groups)) group.replaceChildren();
    for (const piece of this.review.pieces.values()) this.#piece(piece);
    for (const came of this.review.cames.values()) this.#came(came);
    for (const joint of this.review.joints.values()) this.#joint(joint);
    this.#after();
  }

  /** @param {import("./types.js").Change} change */
  #part({ net, gone }) {
    for (const name of [...gone.pieces, ...gone.cames, ...gone.joints]) this.#drop(String(name));
    for (const piece of net.pieces) this.#drop(String(piece.number));
    for (const part of [...net.cames, ...net.joints]) this.#drop(part.id);
    net.pieces.forEach((piece) => this.#piece(piece));
    net.cames.forEach((came) => this.#came(came));
    net.joints.forEach((joint) => this.#joint(joint));
    this.#after();
  }

  #after() {
    this.#marks();
    this.condition();
    this.#choose();
    this.settle();
  }

  /** @param {string} name */
  #drop(name) {
    for (const old of this.svg.querySelectorAll(`[data-name="${name}"]`)) old.remove();
  }

  /** @param {import("./types.js").Piece} piece */
  #piece(piece) {
    const name = { "data-name": piece.number };
    const d = piece.rings.map((ring) => path(ring, true)).join("");
    this.groups.glass.append(draw("path", { ...name, d, "fill-rule": "evenodd" }));
    const at = { x: piece.at[0], y: -piece.at[1], "data-radius": piece.radius };
    this.groups.numbers.append(draw("text", { ...name, ...at }, String(piece.number)));
  }

  /** @param {import("./types.js").Came} came */
  #came(came) {
    const name = { "data-name": came.id, d: path(came.line) };
    const kind = [came.border ? "border" : "", came.gaps.length ? "bridged" : "", came.corrected ? "by-hand" : ""].join(" ").trim();
    this.groups.bands.append(draw("path", { ...name, "stroke-width": came.width }));
    this.groups.lines.append(draw("path", { ...name, class: kind }));
    const [x, y] = middle(came.line);
    this.groups.names.append(draw("text", { "data-name": came.id, x, y: -y, "data-radius": came.length / NAME_SHARE }, came.id));
  }

  /** @param {import("./types.js").Joint} joint */
  #joint(joint) {
    const [x, y] = joint.at;
    this.groups.joints.append(draw("circle", { "data-name": joint.id, cx: x, cy: -y, r: 1 }));
    this.groups.names.append(draw("text", { "data-name": joint.id, x, y: -y, "data-radius": 3 }, joint.id));
  }

  /** A sign at every place of a finding, by shape as well as by colour. */
  #marks() {
    this.groups.marks.replaceChildren();
    this.review.findings.doubts.forEach((doubt) => {
      doubt.places.forEach(([x, y]) => this.groups.marks.append(sign(doubt.severity, x, -y)));
    });
  }

  /** Fill the pieces by what the sheet says of them. */
  condition() {
    const entries = this.review.sheet?.entries ?? {};
    for (const glass of this.groups.glass.children) {
      const entry = entries[/** @type {HTMLElement} */ (glass).dataset.name ?? ""];
      const hatch = entry ? hatchFor(entry) : "";
      if (hatch) glass.setAttribute("fill", `url(#${hatch})`);
      else glass.removeAttribute("fill");
    }
  }

  #choose() {
    for (const old of this.svg.querySelectorAll(".chosen")) old.classList.remove("chosen");
    for (const thing of this.review.chosen) {
      const name = thing.kind === "piece" ? thing.number : thing.id;
      for (const part of this.svg.querySelectorAll(`[data-name="${name}"]`)) part.classList.add("chosen");
    }
  }

  #push() {
    const { view } = this;
    const k = view.scale / this.#rest.scale;
    const dx = (this.#rest.centre[0] - view.centre[0]) * view.scale;
    const dy = (view.centre[1] - this.#rest.centre[1]) * view.scale;
    this.layer.style.transform = `translate(${dx}px, ${dy}px) scale(${k})`;
    window.clearTimeout(this.#timer);
    this.#timer = window.setTimeout(() => this.settle(), REST_MS);
  }

  /** Lay the drawing out for where the paper lies now. */
  settle() {
    const { view, svg } = this;
    window.clearTimeout(this.#timer);
    this.#rest = { centre: view.centre, scale: view.scale };
    const [w, h] = [view.width * (1 + 2 * SPARE), view.height * (1 + 2 * SPARE)];
    const box = [view.centre[0] - w / 2 / view.scale, -view.centre[1] - h / 2 / view.scale, w / view.scale, h / view.scale];
    svg.setAttribute("viewBox", box.map((v) => v.toFixed(3)).join(" "));
    Object.assign(svg.style, { width: `${w}px`, height: `${h}px`, left: `${-SPARE * 100}%`, top: `${-SPARE * 100}%` });
    this.layer.style.transform = "";
    if (this.#drawn !== view.scale.toFixed(4)) this.#letter();
  }

  /** Sizes that stay the same on the screen however near the paper is. */
  #letter() {
    const { scale } = this.view;
    this.#drawn = scale.toFixed(4);
    this.groups.names.setAttribute("font-size", String(NAME_PX / scale));
    for (const part of this.groups.numbers.children) {
      const room = Number(/** @type {HTMLElement} */ (part).dataset.radius) * scale * ROOM;
      const high = Math.min(NUMBER_PX, (room * 2) / Math.max(1.4, (part.textContent ?? "").length * 0.62));
      part.classList.toggle("no-room", high < LEAST_PX);
      part.setAttribute("font-size", String(high / scale));
    }
    for (const part of this.groups.names.children) {
      part.classList.toggle("no-room", Number(/** @type {HTMLElement} */ (part).dataset.radius) * scale < NAME_PX);
    }
    for (const hatch of this.svg.querySelectorAll("pattern")) hatch.setAttribute("patternTransform", `scale(${HATCH_PX / scale})`);
    this.groups.joints.classList.toggle("no-room", scale < JOINTS_FROM);
    for (const joint of this.groups.joints.children) joint.setAttribute("r", String(3 / scale));
    for (const mark of this.groups.marks.children) mark.setAttribute("transform", turned(mark, scale));
  }

  /** Draw the sizes again, as after a change. */
  letterAgain() {
    this.#drawn = "";
    this.settle();
  }
}

/** @param {Element} mark @param {number} scale */
function turned(mark, scale) {
  const { x, y } = /** @type {any} */ (mark).dataset;
  const size = Math.min(1, Math.max(SMALLEST, scale / FULL_FROM));
  return `translate(${x} ${y}) scale(${size / scale})`;
}

/**
 * The sign of a finding: a triangle, a ring or a square, of 14 pixels.
 * @param {string} severity @param {number} x @param {number} y
 */
export function sign(severity, x, y) {
  const shapes = { wrong: "M0-13L12 9L-12 9Z", check: "M-11 0A11 11 0 1 0 11 0A11 11 0 1 0-11 0Z", note: "M-9-9H9V9H-9Z" };
  const d = shapes[/** @type {keyof typeof shapes} */ (severity)] ?? shapes.note;
  const mark = draw("g", { class: `mark ${severity}`, "data-x": x, "data-y": y, transform: `translate(${x} ${y})` });
  mark.append(draw("path", { d, class: "under" }), draw("path", { d }));
  return mark;
}
