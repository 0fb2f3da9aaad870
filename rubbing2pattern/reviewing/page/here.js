// The slip about what was tapped: a lead, a joint, a piece or several, and what can be done with it.

import { button, make } from "./dom.js";
import { WORDS, areaText, fill, lengthText } from "./words.js";

const words = WORDS.here;

export class Here {
  /**
   * @param {HTMLElement} slip
   * @param {import("./review.js").Review} review
   * @param {(tool: string) => void} take
   */
  constructor(slip, review, take) {
    this.slip = slip;
    this.review = review;
    this.take = take;
    for (const what of ["loaded", "changed", "chosen"]) review.addEventListener(what, () => this.lay());
  }

  /** @type {import("./tools.js").DrawLead | null} the lead that is being drawn */
  line = null;

  lay() {
    const { review } = this;
    if (this.line) return this.slip.replaceChildren(...this.#drawing(this.line));
    const first = review.chosen[0];
    /** @type {Node[]} */
    let parts = [];
    if (first?.kind === "came") parts = this.#came(/** @type {import("./types.js").Came} */ (review.cames.get(first.id)));
    else if (first?.kind === "joint") parts = this.#joint(/** @type {import("./types.js").Joint} */ (review.joints.get(first.id)));
    else if (first) parts = this.#pieces(review.chosenPieces);
    if (first) parts.push(button(words.clear, () => review.choose([]), { class: "plain" }));
    return this.slip.replaceChildren(...parts, this.#finder(!first));
  }

  /** @param {import("./tools.js").DrawLead} lead */
  #drawing(lead) {
    const { line } = lead;
    const draw = WORDS.draw;
    const shape = line.length < 3 ? draw.straight : line.length === 3 ? draw.arc : draw.curve;
    const width = make("input", { id: "draw-width", inputMode: "decimal", maxLength: 6 });
    const free = make("input", { type: "checkbox", id: "draw-free" });
    const end = () => lead.end({ width: Number(width.value.replace(",", ".")) || undefined, free: free.checked });
    return [
      make("h2", {}, draw.title), make("p", {}, line.length < 2 ? draw.first : fill(draw.shape, { n: line.length, shape })),
      make("div", { class: "field" }, make("label", { for: "draw-width" }, draw.width), width),
      make("label", { class: "tick" }, free, draw.free),
      button(draw.end, end, { class: "strong", id: "draw-end", disabled: line.length < 2 }),
      button(draw.undo, () => lead.backOne()), button(draw.drop, () => lead.leave()),
    ];
  }

  /** @param {boolean} empty */
  #finder(empty) {
    const field = make("input", { id: "find-name", autocomplete: "off", maxLength: 12 });
    const find = () => {
      const name = field.value.trim().toUpperCase();
      if (this.review.cames.has(name)) return this.review.choose([{ kind: "came", id: name }]);
      if (this.review.joints.has(name)) return this.review.choose([{ kind: "joint", id: name }]);
      if (this.review.pieces.has(Number(name))) return this.review.choose([{ kind: "piece", number: Number(name) }]);
      return this.review.say(fill(words.noSuch, { name }));
    };
    const form = make("form", { class: "field", onsubmit: (/** @type {Event} */ event) => { event.preventDefault(); find(); } },
      make("label", { for: "find-name" }, words.name), make("div", { class: "together" }, field, make("button", {}, words.find)));
    return make("div", {}, ...(empty ? [make("p", { class: "large" }, words.none)] : []), form);
  }

  /** @param {import("./types.js").Came} came */
  #came(came) {
    const { units } = this.review.session;
    const facts = [fill(words.leadFacts, { length: lengthText(came.length, units), width: lengthText(came.width, units), stock: came.stock })];
    if (came.border) facts.push(words.border);
    facts.push(fill(words.surety, { share: words.shares[Math.min(3, Math.floor(came.surety * 4))] }));
    if (came.pieces.length) facts.push(fill(came.pieces.length > 1 ? words.between : words.beside, { list: came.pieces.join(", ") }));
    if (came.corrected) facts.push(fill(words.corrected, { what: came.corrected }));
    const alike = [...this.review.cames.values()].filter((c) => c.stock === came.stock);
    const field = make("input", { id: "came-width", type: "text", inputMode: "decimal", value: came.width.toFixed(1), maxLength: 12 });
    const width = () => Number(field.value.replace(",", ".")) || field.value;
    const set = (/** @type {import("./types.js").Came[]} */ cames) => this.review.edit(cames.map((c) => ({ kind: "set_width", came: c.id, width_mm: width() })));
    const edit = { kind: "remove_lead", came: came.id, ...(came.border ? { border: true } : {}) };
    return [
      make("h2", {}, fill(words.lead, { id: came.id })), make("p", {}, `${facts.join("; ")}.`),
      button(words.takeOut, () => this.review.edit([edit]), { id: "take-out" }),
      button(words.shift, () => this.take("shift")),
      make("div", { class: "field" }, make("label", { for: "came-width" }, `${words.width}, mm`), field,
        button(words.setWidth, () => set([came])), button(fill(words.setAll, { n: alike.length, stock: came.stock }), () => set(alike))),
    ];
  }

  /** @param {import("./types.js").Joint} joint */
  #joint(joint) {
    return [
      make("h2", {}, fill(words.joint, { id: joint.id })), make("p", {}, joint.cames.length > 1 ? fill(words.jointFacts, { n: joint.cames.length }) : words.jointEnd),
      button(words.shift, () => this.take("shift")),
    ];
  }

  /** @param {number[]} numbers */
  #pieces(numbers) {
    if (numbers.length > 1) {
      return [
        make("h2", {}, fill(words.pieces, { n: numbers.length, list: numbers.join(", ") })),
        button(words.join, () => this.review.edit([{ kind: "join_pieces", pieces: numbers }])),
      ];
    }
    const piece = /** @type {import("./types.js").Piece} */ (this.review.pieces.get(numbers[0]));
    const { units } = this.review.session;
    const field = make("input", { id: "piece-number", inputMode: "numeric", value: String(piece.number), maxLength: 6 });
    const facts = { width: lengthText(piece.box[0], units), height: lengthText(piece.box[1], units), area: areaText(piece.area, units) };
    return [
      make("h2", {}, fill(words.piece, { n: piece.number })), make("p", {}, `${fill(words.pieceFacts, facts)}.`),
      button(words.split, () => this.take("lead")),
      make("div", { class: "field" }, make("label", { for: "piece-number" }, words.number), field,
        button(words.renumber, () => this.#renumber(piece.number, Number(field.value)))),
      make("p", { class: "faint" }, words.more),
    ];
  }

  /** Give a number; a piece that has it already gets the old one. @param {number} from @param {number} to */
  #renumber(from, to) {
    const edits = [{ kind: "renumber", piece: from, number: to }];
    if (this.review.pieces.has(to)) edits.push({ kind: "renumber", piece: to, number: from });
    return this.review.edit(edits);
  }
}
