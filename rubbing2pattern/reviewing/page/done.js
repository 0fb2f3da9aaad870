// The slip of what was done: the changes that are not saved, and saving them.

import { button, make } from "./dom.js";
import { WORDS, fill } from "./words.js";

const words = WORDS.done;

export class Done {
  by = "";
  remark = "";

  /** @param {HTMLElement} slip @param {import("./review.js").Review} review */
  constructor(slip, review) {
    this.slip = slip;
    this.review = review;
    review.addEventListener("loaded", () => this.lay());
    review.addEventListener("changed", () => this.lay());
  }

  lay() {
    const { steps, by } = this.review.session;
    const list = make("ol", { class: "steps" }, ...steps.map((step) => make("li", {}, step.words.join("; "))));
    const parts = steps.length ? [make("h2", {}, words.steps), list, this.#form(by)] : [make("p", { class: "large" }, words.none)];
    this.slip.replaceChildren(...parts, button(words.quit, () => this.#quit(), { class: "plain", id: "quit" }));
  }

  /** @param {string} last who saved before */
  #form(last) {
    const by = make("input", { id: "save-by", value: this.by || last, required: true, maxLength: 500, autocomplete: "name", oninput: () => { this.by = by.value; } });
    const date = make("input", { id: "save-date", type: "date", value: today(), required: true });
    const remark = make("input", { id: "save-remark", value: this.remark, maxLength: 500, oninput: () => { this.remark = remark.value; } });
    const press = make("button", { class: "strong", id: "save" }, words.save);
    const save = async (/** @type {Event} */ event) => {
      event.preventDefault();
      press.disabled = true;
      press.textContent = words.saving;
      const files = await this.review.save(by.value.trim(), date.value, remark.value.trim());
      if (files) this.review.say(fill(words.saved, { files: files.join(", ") || words.onlySheet }));
      press.disabled = false;
      press.textContent = words.save;
    };
    const rows = /** @type {[string, any][]} */ ([[words.by, by], [words.date, date], [words.remark, remark]]);
    return make("form", { class: "save", onsubmit: save },
      ...rows.map(([name, field]) => make("div", { class: "field" }, make("label", { for: field.id }, name), field)), press);
  }

  async #quit() {
    await this.review.quit();
    document.body.replaceChildren(make("p", { class: "closed large" }, words.closed));
  }
}

/** The day of this machine, as a date field has it. */
function today() {
  const now = new Date();
  const two = (/** @type {number} */ n) => String(n).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}
