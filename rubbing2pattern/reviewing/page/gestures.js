// Fingers, mouse and pen on the paper: one that taps or drags, two that pinch, the wheel.

/** @typedef {import("./types.js").Point} Point */
/**
 * What a tool does with a pointer; places in mm, `reach` in mm is how near counts as touched.
 * @typedef {object} Tool
 * @property {(at: Point, reach: number) => void} tap
 * @property {(at: Point, reach: number) => void} [hover]
 * @property {(at: Point, reach: number) => boolean} [grab] true when it takes the drag
 * @property {(at: Point) => void} [drag]
 * @property {(at: Point) => void} [drop]
 * @property {() => void} [leave]
 */

const STILL_PX = 6;
/** a pointer that moved less has tapped */
const FINGER_PX = 24;
const MOUSE_PX = 11;
/** how near to a thing counts as on it */
const WHEEL = 0.0016;
/** how fast the wheel goes nearer, for each unit that the browser gives */

export class Gestures {
  /** @type {Map<number, Point>} */
  #down = new Map();
  #moved = false;
  #dragging = false;
  #pinched = false;
  /** @type {Point} */
  #start = [0, 0];

  /**
   * @param {HTMLElement} paper
   * @param {import("./view.js").View} view
   * @param {() => Tool} tool
   */
  constructor(paper, view, tool) {
    this.paper = paper;
    this.view = view;
    this.tool = tool;
    paper.addEventListener("pointerdown", (event) => this.#press(event));
    paper.addEventListener("pointermove", (event) => this.#move(event));
    paper.addEventListener("pointerup", (event) => this.#lift(event));
    paper.addEventListener("pointercancel", (event) => this.#cancel(event));
    paper.addEventListener("wheel", (event) => this.#wheel(event), { passive: false });
  }

  /** @param {PointerEvent | WheelEvent} event @returns {Point} */
  #pixel(event) {
    const box = this.paper.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  /** @param {PointerEvent} event */
  #reach(event) {
    return (event.pointerType === "mouse" ? MOUSE_PX : FINGER_PX) / this.view.scale;
  }

  /** @param {PointerEvent} event */
  #press(event) {
    if (event.pointerType === "mouse" && event.button !== 0) return;
    this.paper.setPointerCapture(event.pointerId);
    const pixel = this.#pixel(event);
    this.#down.set(event.pointerId, pixel);
    if (this.#down.size === 1) {
      this.#start = pixel;
      this.#moved = false;
      this.#pinched = false;
      this.#dragging = this.tool().grab?.(this.view.toPaper(pixel), this.#reach(event)) ?? false;
    } else if (this.#dragging) {
      this.#dragging = false;
      this.tool().leave?.();
    }
  }

  /** @param {PointerEvent} event */
  #move(event) {
    const pixel = this.#pixel(event);
    const before = this.#down.get(event.pointerId);
    if (!before) {
      this.tool().hover?.(this.view.toPaper(pixel), this.#reach(event));
      return;
    }
    if (this.#down.size === 2) return this.#pinch(event.pointerId, before, pixel);
    if (this.#pinched) return;
    if (!this.#moved && Math.hypot(pixel[0] - this.#start[0], pixel[1] - this.#start[1]) < STILL_PX) return;
    this.#down.set(event.pointerId, pixel);
    if (this.#dragging) this.tool().drag?.(this.view.toPaper(pixel));
    else this.view.push(...this.#step(this.#moved ? before : this.#start, pixel));
    this.#moved = true;
  }

  /** @param {Point} from @param {Point} to @returns {Point} */
  #step(from, to) {
    return [to[0] - from[0], to[1] - from[1]];
  }

  /** @param {number} id @param {Point} before @param {Point} pixel */
  #pinch(id, before, pixel) {
    this.#pinched = true;
    this.#moved = true;
    const other = [...this.#down].find(([key]) => key !== id)?.[1] ?? pixel;
    const was = Math.hypot(before[0] - other[0], before[1] - other[1]);
    const now = Math.hypot(pixel[0] - other[0], pixel[1] - other[1]);
    this.#down.set(id, pixel);
    this.view.push((pixel[0] - before[0]) / 2, (pixel[1] - before[1]) / 2);
    if (was > 0) this.view.zoom(now / was, [(pixel[0] + other[0]) / 2, (pixel[1] + other[1]) / 2]);
  }

  /** @param {PointerEvent} event */
  #lift(event) {
    if (!this.#down.delete(event.pointerId) || this.#down.size) return;
    const at = this.view.toPaper(this.#pixel(event));
    if (this.#dragging && this.#moved) this.tool().drop?.(at);
    else {
      if (this.#dragging) this.tool().leave?.();
      if (!this.#moved) this.tool().tap(at, this.#reach(event));
    }
    this.#dragging = false;
  }

  /** @param {PointerEvent} event */
  #cancel(event) {
    this.#down.delete(event.pointerId);
    if (this.#dragging) this.tool().leave?.();
    this.#dragging = false;
    this.#moved = true;
  }

  /** @param {WheelEvent} event */
  #wheel(event) {
    event.preventDefault();
    const lines = event.deltaMode === 1 ? 20 : 1;
    this.view.zoom(Math.exp(-event.deltaY * lines * WHEEL), this.#pixel(event));
  }
}
