// The sheet of pieces: what is written about those that are chosen, and the list of all.

import { button, make } from "./dom.js";
import { ACTIONS, STATES } from "./hatch.js";
import { WORDS, fill } from "./words.js";

const words = WORDS.glass;
const HERE = WORDS.here;

export class Glass {
  /** @param {HTMLElement} slip @param {import("./review.js").Review} review */
  constructor(slip, review) {
    this.slip = slip;
    this.review = review;
    for (const what of ["loaded", "changed"]) review.addEventListener(what, () => this.lay());
    review.addEventListener("chosen", () => this.lay());
  }

  lay() {
    if (this.slip.hidden || !this.review.sheet) return;
    const numbers = this.review.chosenPieces;
    const top = this.slip.scrollTop;
    this.slip.replaceChildren(...(numbers.length ? this.#form(numbers) : [make("p", { class: "large" }, words.choose)]), this.#key(), this.#table(numbers));
    this.slip.scrollTop = top;
  }

  /** @param {number[]} numbers */
  #form(numbers) {
    const { sheet } = this.review;
    const what = numbers.length === 1 ? fill(HERE.piece, { n: numbers[0] }) : fill(HERE.pieces, { n: numbers.length, list: numbers.slice(0, 8).join(", ") + (numbers.length > 8 ? " …" : "") });
    /** @type {Map<string, HTMLInputElement | HTMLSelectElement>} */
    const fields = new Map();
    const rows = sheet.columns.map((column) => {
      const values = new Set(numbers.map((n) => sheet.entries[n]?.[column] ?? ""));
      const value = values.size === 1 ? [...values][0] : null;
      const field = this.#field(column, value);
      field.dataset.was = value ?? "\u0000";
      fields.set(column, field);
      const name = words.columns[/** @type {keyof typeof words.columns} */ (column)] ?? column;
      const unit = column === "thickness" ? `, ${sheet.thickness_unit}` : "";
      return make("div", { class: "field" }, make("label", { for: `cell-${column}` }, name + unit), field);
    });
    const form = make("form", { class: "cells", onsubmit: (/** @type {Event} */ event) => { event.preventDefault(); this.#write(numbers, fields); } },
      ...rows, make("button", { class: "strong", id: "write-cells" }, words.write));
    return [make("h2", {}, fill(words.chosen, { what })), form];
  }

  /** @param {string} column @param {string | null} value */
  #field(column, value) {
    const choices = /** @type {Record<string, string[]>} */ (/** @type {unknown} */ (this.review.sheet.choices))[column];
    const id = `cell-${column}`;
    if (!choices) return make(column === "remark" ? "textarea" : "input", { id, value: value ?? "", placeholder: value === null ? words.mixed : "", maxLength: 2000 });
    const list = value && !choices.includes(value) ? [...choices, value] : choices;
    const options = ["", ...list].map((c) => make("option", { value: c }, c || words.empty));
    if (value === null) options.unshift(make("option", { value: "\u0000" }, words.mixed));
    const field = make("select", { id }, ...options);
    field.value = value ?? "\u0000";
    return field;
  }

  /** @param {number[]} numbers @param {Map<string, HTMLInputElement | HTMLSelectElement>} fields */
  #write(numbers, fields) {
    /** @type {Record<string, string>} */
    const cells = {};
    for (const [column, field] of fields) {
      const mixed = field.dataset.was === "\u0000";
      if (mixed ? field.value && field.value !== "\u0000" : field.value !== field.dataset.was) cells[column] = field.value;
    }
    if (Object.keys(cells).length) void this.review.type(numbers, cells);
  }

  /** What the hatches and letters of the paper mean. */
  #key() {
    const states = Object.keys(STATES).map((state) => make("li", {}, swatch(state), state));
    const actions = Object.entries(ACTIONS).map(([action, letter]) => make("li", {}, make("b", { class: "stamp" }, letter), action));
    return make("details", { class: "condition-key" }, make("summary", {}, words.key), make("ul", {}, ...states), make("ul", {}, ...actions));
  }

  /** @param {number[]} numbers */
  #table(numbers) {
    const { review } = this;
    const { units } = review.session;
    const head = [words.piece, `${words.size}, ${units}`, words.columns.state, words.columns.action, words.columns.glass];
    const rows = [...review.pieces.values()].sort((a, b) => a.number - b.number).map((piece) => {
      const entry = review.sheet.entries[piece.number] ?? {};
      const box = make("input", { type: "checkbox", checked: numbers.includes(piece.number), "aria-label": fill(HERE.piece, { n: piece.number }), onchange: () => this.#toggle(piece.number) });
      const size = piece.box.map((mm) => (units === "in" ? (mm / 25.4).toFixed(1) : mm.toFixed(0))).join(" × ");
      const name = make("th", { scope: "row" }, make("label", { class: "tick" }, box, String(piece.number)));
      return make("tr", {}, name, ...[size, entry.state, entry.action, entry.glass].map((t) => make("td", {}, t ?? "")));
    });
    const all = () => review.choose([...review.pieces.keys()].map((number) => ({ kind: /** @type {const} */ ("piece"), number })));
    return make("div", { class: "pieces" }, make("h3", {}, words.list),
      make("div", { class: "together" }, button(words.every, all, { class: "plain" }), button(words.none, () => review.choose([]), { class: "plain" })),
      make("table", {}, make("thead", {}, make("tr", {}, ...head.map((t) => make("th", { scope: "col" }, t)))), make("tbody", {}, ...rows)));
  }

  /** @param {number} number */
  #toggle(number) {
    const known = this.review.chosenPieces;
    const now = known.includes(number) ? known.filter((n) => n !== number) : [...known, number];
    this.review.choose(now.map((n) => ({ kind: /** @type {const} */ ("piece"), number: n })));
  }
}

/** @param {string} state */
function swatch(state) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", "0 0 24 15");
  svg.setAttribute("class", "swatch");
  const rect = document.createElementNS("http://www.w3.org/2000/svg", "rect");
  rect.setAttribute("width", "24");
  rect.setAttribute("height", "15");
  rect.setAttribute("fill", `url(#hatch-${state.replace(" ", "_")}-)`);
  svg.append(rect);
  return svg;
}
