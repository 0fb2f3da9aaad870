// Where the paper lies under the window: places in mm, and pixels of the screen.

/** @typedef {import("./types.js").Point} Point */

const NEAREST = 60;
/** pixels for each mm at the closest look: a lead of 6 mm fills a phone */
const AROUND = 1.06;
/** room around the whole panel */

export class View extends EventTarget {
  centre = /** @type {Point} */ ([0, 0]);
  scale = 1;
  /** the scale at which the whole panel is seen */
  least = 1;
  width = 1;
  height = 1;

  /** @param {number} width @param {number} height of the window in pixels */
  resize(width, height) {
    this.width = Math.max(1, width);
    this.height = Math.max(1, height);
    this.#moved();
  }

  /** @param {Point} place @returns {Point} */
  toScreen([x, y]) {
    return [(x - this.centre[0]) * this.scale + this.width / 2, (this.centre[1] - y) * this.scale + this.height / 2];
  }

  /** @param {Point} pixel @returns {Point} */
  toPaper([x, y]) {
    return [(x - this.width / 2) / this.scale + this.centre[0], this.centre[1] - (y - this.height / 2) / this.scale];
  }

  /** @param {number} dx @param {number} dy pixels that the paper is pushed */
  push(dx, dy) {
    this.centre = [this.centre[0] - dx / this.scale, this.centre[1] + dy / this.scale];
    this.#moved();
  }

  /** @param {number} factor @param {Point} [pixel] that stays where it is */
  zoom(factor, pixel = [this.width / 2, this.height / 2]) {
    const place = this.toPaper(pixel);
    this.scale = Math.min(NEAREST, Math.max(this.least / 2, this.scale * factor));
    const now = this.toScreen(place);
    this.push(pixel[0] - now[0], pixel[1] - now[1]);
  }

  /** @param {number} width @param {number} height of the panel in mm */
  whole(width, height) {
    this.least = Math.min(this.width / (width * AROUND), this.height / (height * AROUND));
    this.scale = this.least;
    this.centre = [width / 2, height / 2];
    this.#moved();
  }

  /** @param {Point[]} places that are brought into the window @param {number} around mm beside them */
  show(places, around) {
    if (!places.length) return;
    const xs = places.map((p) => p[0]);
    const ys = places.map((p) => p[1]);
    const [left, right, low, high] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    this.centre = [(left + right) / 2, (low + high) / 2];
    const scale = Math.min(this.width / (right - left + 2 * around), this.height / (high - low + 2 * around));
    this.scale = Math.max(this.least, Math.min(scale, NEAREST));
    this.#moved();
  }

  #moved() {
    this.dispatchEvent(new Event("moved"));
  }
}
