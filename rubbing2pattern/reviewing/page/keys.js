// The page by keyboard alone.

import { button, make } from "./dom.js";
import { WORDS } from "./words.js";

const STEP_PX = 60;
const NEARER = 1.25;

/**
 * @typedef {object} Deeds
 * @property {() => void} undo
 * @property {() => void} redo
 * @property {(step: number) => void} walk
 * @property {(k: number) => void} cure
 * @property {(tool: string) => void} take
 * @property {() => void} tap at the cross
 * @property {() => void} hover at the cross
 * @property {() => void} drop what was begun
 * @property {(box: string) => void} tick
 * @property {() => void} whole
 */

export class Keys {
  letters = true;

  /** @param {HTMLElement} paper @param {import("./view.js").View} view @param {Deeds} deeds */
  constructor(paper, view, deeds) {
    this.view = view;
    this.deeds = deeds;
    paper.addEventListener("keydown", (event) => this.#onPaper(event));
    document.addEventListener("keydown", (event) => this.#anywhere(event));
  }

  /** @param {KeyboardEvent} event */
  #onPaper(event) {
    const way = /** @type {Record<string, [number, number]>} */ ({ ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] })[event.key];
    if (way) {
      const step = event.shiftKey ? this.view.scale : STEP_PX;
      this.view.push(way[0] * step, way[1] * step);
      this.deeds.hover();
    } else if (event.key === "Enter" || event.key === " ") this.deeds.tap();
    else return;
    event.preventDefault();
  }

  /** @param {KeyboardEvent} event */
  #anywhere(event) {
    const target = /** @type {HTMLElement} */ (event.target);
    const typing = target.closest("input:not([type=checkbox]):not([type=range]), select, textarea, dialog");
    if (typing || event.altKey || event.metaKey) return;
    const key = event.key.toLowerCase();
    if (event.ctrlKey) {
      if (key === "z" && !event.shiftKey) this.deeds.undo();
      else if (key === "y" || key === "z") this.deeds.redo();
      else return;
      event.preventDefault();
      return;
    }
    if (key === "escape") this.deeds.drop();
    else if (this.letters) this.#letter(key);
  }

  /** @param {string} key */
  #letter(key) {
    const { deeds, view } = this;
    if (/^[1-9]$/.test(key)) return deeds.cure(Number(key) - 1);
    const does = /** @type {Record<string, () => void>} */ ({
      n: () => deeds.walk(1), p: () => deeds.walk(-1), z: deeds.undo, y: deeds.redo,
      l: () => deeds.take("look"), d: () => deeds.take("lead"), s: () => deeds.take("shift"), t: () => deeds.take("tape"),
      "+": () => view.zoom(NEARER), "=": () => view.zoom(NEARER), "-": () => view.zoom(1 / NEARER), 0: deeds.whole,
      g: () => deeds.tick("grid-on"), i: () => deeds.tick("ids-on"), c: () => deeds.tick("condition-on"),
    })[key];
    return does?.();
  }

  /** @param {HTMLDialogElement} dialog */
  explain(dialog) {
    const rows = WORDS.keyList.map(([keys, does]) => make("tr", {}, make("th", { scope: "row" }, keys), make("td", {}, does)));
    const box = make("input", { type: "checkbox", checked: this.letters, onchange: () => { this.letters = box.checked; } });
    dialog.replaceChildren(
      make("h2", { id: "dialog-title" }, WORDS.keysTitle), make("table", {}, make("tbody", {}, ...rows)),
      make("label", { class: "tick" }, box, WORDS.keysOn), button(WORDS.close, () => dialog.close(), { class: "strong" }));
    dialog.showModal();
  }
}
