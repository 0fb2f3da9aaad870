// The slip of doubts: one at a time, with the cures as buttons whose effect is drawn first.

import { button, make } from "./dom.js";
import { told } from "./told.js";
import { WORDS, fill } from "./words.js";

const AROUND_MM = 45;
/** what is shown around the place of a doubt */
/** @typedef {import("./types.js").Doubt} Doubt */

export class Doubts {
  /** name of the finding that the doubt shown begins with */
  #at = "";
  /** @type {Map<number, import("./types.js").Change | string>} */
  #known = new Map();
  /** index of the cure whose effect is drawn */
  shown = -1;

  /**
   * @param {HTMLElement} slip
   * @param {import("./review.js").Review} review
   * @param {import("./over.js").Over} over
   * @param {import("./view.js").View} view
   * @param {(tool: string) => void} take
   */
  constructor(slip, review, over, view, take) {
    this.slip = slip;
    this.review = review;
    this.over = over;
    this.view = view;
    this.take = take;
    review.addEventListener("loaded", () => this.#renew(false));
    review.addEventListener("changed", () => this.#renew(true));
  }

  get all() {
    return this.review.findings.doubts;
  }

  get index() {
    return Math.max(0, this.all.findIndex((doubt) => doubt.names[0] === this.#at));
  }

  /** @param {boolean} go whether the paper moves to the next doubt when this one is settled */
  #renew(go) {
    const stands = this.all.some((doubt) => doubt.names[0] === this.#at);
    const next = this.all[Math.min(this.#place, this.all.length - 1)];
    if (!stands) this.#at = next?.names[0] ?? "";
    this.#lay(go && !stands && !this.slip.hidden);
  }

  #place = 0;

  /** @param {number} step */
  walk(step) {
    if (!this.all.length) return;
    this.go((this.index + step + this.all.length) % this.all.length);
  }

  /** @param {number} index */
  go(index) {
    this.#at = this.all[index]?.names[0] ?? "";
    this.#lay(true);
  }

  /** @param {boolean} go */
  #lay(go) {
    this.#known.clear();
    this.shown = -1;
    this.#place = this.index;
    this.over.show({ effect: null });
    const doubt = this.all[this.index];
    this.slip.replaceChildren(...(doubt ? this.#doubt(doubt) : [make("p", { class: "large" }, WORDS.doubts.none)]), this.#list());
    if (!doubt) return;
    if (go) this.#show(doubt);
    if (doubt.cures.length && !this.slip.hidden) void this.look(0);
  }

  /** @param {Doubt} doubt */
  #show(doubt) {
    /** @type {import("./types.js").Point[]} */
    const places = doubt.places.length ? [...doubt.places] : [];
    for (const id of doubt.cames.slice(0, 8)) {
      const came = this.review.cames.get(id);
      if (came && doubt.places.length < 2) for (let k = 0; k < came.line.length; k += 2) places.push([came.line[k], came.line[k + 1]]);
    }
    this.view.show(places, AROUND_MM);
  }

  /** Draw the first cure again, as when the slip is turned to. */
  turnedTo() {
    const doubt = this.all[this.index];
    if (doubt?.cures.length && this.shown < 0) void this.look(0);
  }

  /** @param {Doubt} doubt */
  #doubt(doubt) {
    const words = WORDS.doubts;
    const count = fill(words.count, { n: this.index + 1, all: this.all.length });
    const walk = make("div", { class: "walk" },
      button(words.back, () => this.walk(-1)), make("h2", { tabIndex: -1 }, count), button(words.next, () => this.walk(1)));
    const severity = words.severity[/** @type {keyof typeof words.severity} */ (doubt.severity)] ?? "";
    const said = make("div", { class: `doubt ${doubt.severity}` },
      make("p", { class: "badge" }, `${doubt.names.slice(0, 3).join(", ")}${doubt.names.length > 3 ? " …" : ""} · ${severity}`),
      make("p", { class: "large" }, doubt.words));
    if (doubt.more.length) said.append(make("details", {}, make("summary", {}, fill(words.also, { n: doubt.more.length })), make("ul", {}, ...doubt.more.map((m) => make("li", {}, m)))));
    const place = doubt.places.length ? button(words.go, () => this.#show(doubt), { class: "plain" }) : make("p", { class: "faint" }, words.whole);
    const cures = doubt.cures.map((cure, k) => this.#cure(cure, k));
    const own = make("div", { class: "own-cures" }, place, button(words.draw, () => this.take("lead"), { class: "plain" }), button(words.shift, () => this.take("shift"), { class: "plain" }));
    this.effect = make("div", { class: "effect" });
    return [walk, said, make("h3", {}, words.cures), make("div", { class: "cures" }, ...cures), this.effect, own];
  }

  /** @param {import("./types.js").Cure} cure @param {number} k */
  #cure(cure, k) {
    const press = button("", () => this.choose(k), { class: "cure", "data-cure": String(k) });
    press.append(make("span", { class: "cure-key", "aria-hidden": "true" }, String(k + 1)), make("span", { class: "cure-words" }, cure.words), make("span", { class: "cure-shown" }));
    press.addEventListener("pointerenter", (/** @type {PointerEvent} */ event) => event.pointerType === "mouse" && void this.look(k));
    press.addEventListener("focus", () => press.matches(":focus-visible") && void this.look(k));
    return press;
  }

  /** Do a cure whose effect is drawn; else draw it. @param {number} k */
  async choose(k) {
    const cure = this.all[this.index]?.cures[k];
    if (!cure) return;
    if (this.shown === k && typeof this.#known.get(k) === "object") await this.review.edit(cure.edits);
    else await this.look(k);
  }

  /** Draw the effect of a cure. @param {number} k */
  async look(k) {
    const doubt = this.all[this.index];
    const cure = doubt?.cures[k];
    if (!cure || this.shown === k) return;
    this.#unmark();
    this.shown = k;
    const effect = this.#known.get(k) ?? (await this.review.preview(cure.edits));
    if (this.all[this.index] !== doubt || this.shown !== k) return;
    this.#known.set(k, effect);
    this.#tell(k, effect);
  }

  /** Draw no effect any more; the next press of a cure draws its effect again. */
  hide() {
    this.#unmark();
    this.effect?.replaceChildren();
    this.over.show({ effect: null });
  }

  #unmark() {
    this.shown = -1;
    for (const press of this.slip.querySelectorAll(".cure.shown")) {
      press.classList.remove("shown");
      press.querySelector(".cure-shown")?.replaceChildren();
    }
  }

  /** @param {number} k @param {import("./types.js").Change | string} effect */
  #tell(k, effect) {
    const press = this.slip.querySelector(`[data-cure="${k}"]`);
    const words = press?.querySelector(".cure-shown");
    if (!press || !words || !this.effect) return;
    if (typeof effect === "string") {
      words.textContent = fill(WORDS.doubts.cannot, { why: effect });
      this.over.show({ effect: null });
      this.effect.replaceChildren();
      return;
    }
    words.textContent = WORDS.doubts.shown;
    press.classList.add("shown");
    this.over.show({ effect });
    const lines = told(effect, this.review.session.units);
    this.effect.replaceChildren(make("ul", {}, ...lines.map((line) => make("li", {}, line))));
  }

  #list() {
    const rows = this.all.map((doubt, k) => {
      const row = button("", () => this.go(k), { class: `row ${doubt.severity}` });
      if (k === this.index) row.setAttribute("aria-current", "true");
      row.append(make("span", { class: "row-name" }, doubt.names[0]), make("span", {}, doubt.words));
      return make("li", {}, row);
    });
    return make("details", { class: "all-doubts" }, make("summary", {}, WORDS.doubts.list), make("ol", {}, ...rows));
  }
}
