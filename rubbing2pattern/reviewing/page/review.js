// What the page knows of the review, and the changes that are asked for.

import { Ended, Refused, Stale, read, write } from "./server.js";
import { WORDS } from "./words.js";

/** @typedef {import("./types.js").Thing} Thing */
/** @typedef {import("./types.js").Change} Change */
/** @typedef {import("./types.js").Changed} Changed */
/** @typedef {import("./types.js").Edit} Edit */

export class Review extends EventTarget {
  /** @type {import("./types.js").Session} */
  session = /** @type {any} */ (null);
  /** @type {Map<number, import("./types.js").Piece>} */
  pieces = new Map();
  /** @type {Map<string, import("./types.js").Came>} */
  cames = new Map();
  /** @type {Map<string, import("./types.js").Joint>} */
  joints = new Map();
  /** @type {import("./types.js").Findings} */
  findings = { doubts: [], settled: 0, all: 0 };
  /** @type {import("./types.js").Sheet} */
  sheet = /** @type {any} */ (null);
  /** @type {Thing[]} */
  chosen = [];
  busy = false;

  async load() {
    const [session, net, findings, sheet] = await Promise.all(["/session", "/net", "/findings", "/pieces"].map(read));
    Object.assign(this, { session, findings, sheet });
    this.pieces = new Map(net.pieces.map((/** @type {any} */ p) => [p.number, p]));
    this.cames = new Map(net.cames.map((/** @type {any} */ c) => [c.id, c]));
    this.joints = new Map(net.joints.map((/** @type {any} */ j) => [j.id, j]));
    this.#tell("loaded");
  }

  /** @param {string} what @param {unknown} [detail] */
  #tell(what, detail) {
    this.dispatchEvent(new CustomEvent(what, { detail }));
  }

  /** @param {string} words */
  say(words) {
    this.#tell("said", words);
  }

  get #now() {
    return { digest: this.session.digest, step: this.session.step };
  }

  /**
   * What edits would do, or why they cannot be made.
   * @param {Edit[]} edits
   * @returns {Promise<Change | string>}
   */
  async preview(edits) {
    try {
      return await write("/preview", { ...this.#now, edits });
    } catch (fault) {
      if (fault instanceof Refused) return fault.message;
      await this.#failed(fault);
      return "";
    }
  }

  /** @param {Edit[]} edits */
  edit(edits) {
    return this.#change("/edits", { edits });
  }

  /** @param {number[]} numbers @param {Record<string, string>} cells */
  type(numbers, cells) {
    return this.#change(`/pieces/${numbers.join(",")}`, { cells }, "PUT");
  }

  undo() {
    return this.#change("/undo", {});
  }

  redo() {
    return this.#change("/redo", {});
  }

  /** @param {boolean} take */
  draft(take) {
    return this.#change("/draft", { take });
  }

  /**
   * @param {string} path
   * @param {object} body
   * @param {"POST" | "PUT"} [method]
   * @returns {Promise<boolean>} whether it was made
   */
  async #change(path, body, method = "POST") {
    if (this.busy) return false;
    this.busy = true;
    try {
      this.#apply(await write(path, { ...this.#now, ...body }, method));
      return true;
    } catch (fault) {
      await this.#failed(fault);
      return false;
    } finally {
      this.busy = false;
    }
  }

  /** @param {string} by @param {string} date @param {string} remark @returns {Promise<string[] | null>} */
  async save(by, date, remark) {
    this.busy = true;
    try {
      const saved = await write("/save", { ...this.#now, by, date, remark });
      await this.load();
      return saved.files;
    } catch (fault) {
      await this.#failed(fault);
      return null;
    } finally {
      this.busy = false;
    }
  }

  quit() {
    return write("/quit", this.#now);
  }

  /** @param {unknown} fault */
  async #failed(fault) {
    if (fault instanceof Stale) {
      await this.load();
      this.say(WORDS.fault.stale);
    } else if (fault instanceof Ended) {
      this.say(WORDS.fault.gone);
    } else if (fault instanceof Error) {
      this.say(fault.message);
    }
  }

  /** @param {Changed} changed */
  #apply(changed) {
    const { net, gone } = changed.change;
    for (const number of gone.pieces) this.pieces.delete(number);
    for (const id of gone.cames) this.cames.delete(id);
    for (const id of gone.joints) this.joints.delete(id);
    for (const piece of net.pieces) this.pieces.set(piece.number, piece);
    for (const came of net.cames) this.cames.set(came.id, came);
    for (const joint of net.joints) this.joints.set(joint.id, joint);
    this.session = changed.session;
    this.findings = changed.findings;
    this.sheet.entries = changed.entries;
    this.chosen = this.chosen.filter((thing) => this.#stands(thing));
    this.#tell("changed", changed.change);
  }

  /** @param {Thing} thing */
  #stands(thing) {
    if (thing.kind === "piece") return this.pieces.has(thing.number);
    return thing.kind === "came" ? this.cames.has(thing.id) : this.joints.has(thing.id);
  }

  /** @param {Thing[]} things */
  choose(things) {
    this.chosen = things;
    this.#tell("chosen");
  }

  get chosenPieces() {
    return this.chosen.flatMap((thing) => (thing.kind === "piece" ? [thing.number] : [])).sort((a, b) => a - b);
  }
}
