// The rubbing on a canvas, from tiles; coarse ones are drawn until the fine ones are there.

import { atNextFrame } from "./dom.js";

const MOST_KEPT = 260;
/** tiles kept decoded: a few screens of the finest level */
const FINE_ENOUGH = 0.8;
/** pixels of the picture for each of the screen, below which a finer level is taken */

export class Tiles {
  /** @type {Map<string, HTMLImageElement>} */
  #kept = new Map();
  /** Draw at the next frame. */
  ask = atNextFrame(() => this.#draw());

  /**
   * @param {HTMLCanvasElement} canvas
   * @param {import("./view.js").View} view
   */
  constructor(canvas, view) {
    this.canvas = canvas;
    this.view = view;
    /** @type {import("./types.js").Tiles | null} */
    this.picture = null;
    view.addEventListener("moved", () => this.ask());
  }

  /** @param {import("./types.js").Tiles} picture */
  show(picture) {
    this.picture = picture;
    this.ask();
  }

  #draw() {
    const { canvas, view, picture } = this;
    const sharp = window.devicePixelRatio || 1;
    const [width, height] = [Math.round(view.width * sharp), Math.round(view.height * sharp)];
    if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, { width, height });
    const pen = canvas.getContext("2d", { alpha: false });
    if (!pen) return;
    pen.fillStyle = "#ffffff";
    pen.fillRect(0, 0, width, height);
    if (!picture || !picture.sizes.length) return;
    pen.imageSmoothingQuality = "high";
    const coarsest = picture.sizes.length - 1;
    const wanted = Math.log2(picture.px_per_mm / (view.scale * sharp * FINE_ENOUGH));
    const level = Math.max(0, Math.min(coarsest, Math.floor(wanted)));
    for (let k = coarsest; k >= level; k -= 1) this.#drawLevel(pen, sharp, k, k === level || k === coarsest);
  }

  /** @param {CanvasRenderingContext2D} pen @param {number} sharp @param {number} level @param {boolean} fetched */
  #drawLevel(pen, sharp, level, fetched) {
    const picture = /** @type {import("./types.js").Tiles} */ (this.picture);
    const side = (picture.tile * 2 ** level) / picture.px_per_mm;
    const [left, top] = this.view.toPaper([0, 0]);
    const [right, low] = this.view.toPaper([this.view.width, this.view.height]);
    const [w, h] = picture.sizes[level];
    const columns = [Math.floor((left - picture.left) / side), Math.floor((right - picture.left) / side)];
    const rows = [Math.floor((picture.top - top) / side), Math.floor((picture.top - low) / side)];
    const last = [Math.ceil(w / picture.tile) - 1, Math.ceil(h / picture.tile) - 1];
    for (let y = Math.max(0, rows[0]); y <= Math.min(last[1], rows[1]); y += 1) {
      for (let x = Math.max(0, columns[0]); x <= Math.min(last[0], columns[1]); x += 1) {
        const tile = this.#tile(`${level}/${x}_${y}`, fetched);
        if (!tile) continue;
        const unit = (2 ** level / picture.px_per_mm) * this.view.scale * sharp;
        const at = this.view.toScreen([picture.left + x * side, picture.top - y * side]);
        pen.drawImage(tile, at[0] * sharp, at[1] * sharp, tile.naturalWidth * unit, tile.naturalHeight * unit);
      }
    }
  }

  /** @param {string} name @param {boolean} fetched @returns {HTMLImageElement | null} */
  #tile(name, fetched) {
    const known = this.#kept.get(name);
    if (known) {
      this.#kept.delete(name);
      this.#kept.set(name, known);
      return known.complete && known.naturalWidth ? known : null;
    }
    if (!fetched) return null;
    const image = new Image();
    image.decoding = "async";
    image.onload = () => this.ask();
    image.src = `/tiles/${name}`;
    this.#kept.set(name, image);
    if (this.#kept.size > MOST_KEPT) this.#kept.delete(/** @type {string} */ (this.#kept.keys().next().value));
    return null;
  }
}
