// The folding rule along two edges of the paper: whole millimetres, counted from the corner.

import { atNextFrame } from "./dom.js";

const DEEP = 26;
/** pixels across the rule */
const STEPS = [1, 2, 5, 10, 20, 50, 100, 200, 500];
const LEAST_PX = 5;
/** marks lie no closer */
const NUMBER_PX = 58;
/** numbers lie no closer */

export class Rules {
  /** @param {HTMLCanvasElement} top @param {HTMLCanvasElement} side @param {import("./view.js").View} view @param {() => "mm" | "in"} units */
  constructor(top, side, view, units) {
    this.view = view;
    this.units = units;
    view.addEventListener("moved", atNextFrame(() => {
      this.#draw(top, true);
      this.#draw(side, false);
    }));
  }

  /** @param {HTMLCanvasElement} canvas @param {boolean} across */
  #draw(canvas, across) {
    const sharp = window.devicePixelRatio || 1;
    const length = across ? this.view.width : this.view.height;
    const [width, height] = across ? [length, DEEP] : [DEEP, length];
    canvas.width = Math.round(width * sharp);
    canvas.height = Math.round(height * sharp);
    const pen = canvas.getContext("2d");
    if (!pen) return;
    pen.scale(sharp, sharp);
    pen.fillStyle = "#f3e3b8";
    pen.fillRect(0, 0, width, height);
    pen.strokeStyle = pen.fillStyle = "#2b2317";
    pen.font = "12px system-ui, sans-serif";
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    this.#marks(pen, across, length);
  }

  /** @param {CanvasRenderingContext2D} pen @param {boolean} across @param {number} length */
  #marks(pen, across, length) {
    const unit = this.units() === "in" ? 25.4 / 8 : 1;
    const scale = this.view.scale * unit;
    const fine = STEPS.find((n) => n * scale >= LEAST_PX) ?? 1000;
    const numbered = (this.units() === "in" ? [8, 16, 32, 64, 128] : STEPS).find((n) => n * scale >= NUMBER_PX) ?? 1000;
    const [left, top] = this.view.toPaper([0, 0]);
    const from = across ? left : this.view.toPaper([0, length])[1];
    const to = across ? this.view.toPaper([length, 0])[0] : top;
    pen.beginPath();
    for (let n = Math.ceil(from / unit / fine) * fine; n * unit <= to; n += fine) {
      const pixel = this.view.toScreen([n * unit, n * unit])[across ? 0 : 1];
      const deep = n % numbered === 0 ? DEEP : n % (fine * 5) === 0 ? 11 : 6;
      if (across) { pen.moveTo(pixel, DEEP); pen.lineTo(pixel, DEEP - Math.min(deep, 11)); } 
      else { pen.moveTo(DEEP, pixel); pen.lineTo(DEEP - Math.min(deep, 11), pixel); }
      if (deep === DEEP) this.#number(pen, across, pixel, this.units() === "in" ? n / 8 : n);
    }
    pen.stroke();
  }

  /** @param {CanvasRenderingContext2D} pen @param {boolean} across @param {number} pixel @param {number} n */
  #number(pen, across, pixel, n) {
    if (across) return pen.fillText(String(n), pixel, 8);
    pen.save();
    pen.translate(8, pixel);
    pen.rotate(-Math.PI / 2);
    pen.fillText(String(n), 0, 0);
    return pen.restore();
  }
}
