// Puts the page together.

import { byId, button, make } from "./dom.js";
import { Done } from "./done.js";
import { Doubts } from "./doubts.js";
import { Gestures } from "./gestures.js";
import { Glass } from "./glass.js";
import { patterns } from "./hatch.js";
import { Here } from "./here.js";
import { Keys } from "./keys.js";
import { NetDrawing } from "./net.js";
import { Over } from "./over.js";
import { Review } from "./review.js";
import { Rules } from "./rules.js";
import { Tiles } from "./tiles.js";
import { told } from "./told.js";
import { DrawLead, Look, Shift, Tape } from "./tools.js";
import { View } from "./view.js";
import { WORDS, fill } from "./words.js";

const NEARER = 1.4;
const CROSS_PX = 14;
/** how near the cross must be to a thing */

const review = new Review();
const view = new View();
const paper = byId("paper");
const over = new Over(byId("over"), review, view);
byId("net").append(patterns());
const net = new NetDrawing(byId("net"), byId("net-layer"), review, view);
const tiles = new Tiles(byId("rubbing"), view);
new Rules(byId("rule-top"), byId("rule-side"), view, () => review.session?.units ?? "mm");

const bench = { review, over, several: () => slip === "glass" || slip === "here", begun: () => layDrawing() };
const tools = { look: new Look(bench), lead: new DrawLead(bench), shift: new Shift(bench), tape: new Tape(bench) };
/** @typedef {keyof typeof tools} ToolName */
let tool = /** @type {ToolName} */ ("look");
let slip = "doubts";

const doubts = new Doubts(byId("slip-doubts"), review, over, view, take);
const here = new Here(byId("slip-here"), review, take);
const glass = new Glass(byId("slip-glass"), review);
const done = new Done(byId("slip-done"), review);
new Gestures(paper, view, () => tools[tool]);

const keys = new Keys(paper, view, {
  undo: () => review.undo(), redo: () => review.redo(), take,
  walk: (step) => { turn("doubts"); doubts.walk(step); },
  cure: (k) => { turn("doubts"); void doubts.choose(k); },
  tap: () => tools[tool].tap(view.centre, CROSS_PX / view.scale),
  hover: () => hover(view.centre, CROSS_PX / view.scale),
  drop: () => { leave(); review.choose([]); },
  tick: (box) => byId(box).click(),
  whole: () => view.whole(review.session.width, review.session.height),
});

/** @param {import("./types.js").Point} at @param {number} reach */
function hover(at, reach) {
  const now = /** @type {import("./gestures.js").Tool} */ (tools[tool]);
  now.hover?.(at, reach);
}

function leave() {
  const now = /** @type {import("./gestures.js").Tool} */ (tools[tool]);
  now.leave?.();
}

/** Take a tool. @param {string} name */
function take(name) {
  leave();
  tool = /** @type {ToolName} */ (name);
  over.show({ near: null });
  doubts.hide();
  layTray();
  say(WORDS.tools[/** @type {keyof typeof WORDS.tools} */ (`${tool}Help`)]);
}

/** Turn to a slip. @param {string} name */
function turn(name) {
  slip = name;
  for (const tab of Object.keys(WORDS.tabs)) {
    byId(`slip-${tab}`).hidden = tab !== name;
    byId(`tab-${tab}`).setAttribute("aria-selected", String(tab === name));
    byId(`tab-${tab}`).tabIndex = tab === name ? 0 : -1;
  }
  if (name === "glass") glass.lay();
  if (name === "doubts") doubts.turnedTo();
  else doubts.hide();
}

function layTabs() {
  const names = Object.keys(WORDS.tabs);
  byId("tabs").replaceChildren(...names.map((name, k) => {
    const tab = button(WORDS.tabs[/** @type {keyof typeof WORDS.tabs} */ (name)], () => turn(name), { id: `tab-${name}`, role: "tab", "aria-controls": `slip-${name}` });
    tab.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step) return;
      const next = names[(k + step + names.length) % names.length];
      turn(next);
      byId(`tab-${next}`).focus();
    });
    return tab;
  }));
}

/** Lay the tray of tools, and beside them what belongs to the one in hand. */
function layTray() {
  const words = WORDS.tools;
  const presses = /** @type {ToolName[]} */ (Object.keys(tools)).map((name) =>
    button(words[name], () => take(name), { class: "tool", role: "radio", id: `tool-${name}`, "aria-checked": String(name === tool) }));
  byId("tray").replaceChildren(...presses);
  if (review.session) layDrawing();
}

/** Show what can be done with the line that is begun. */
function layDrawing() {
  here.line = tool === "lead" && tools.lead.line.length ? tools.lead : null;
  if (here.line) turn("here");
  here.lay();
}

function layHead() {
  const { session, findings } = review;
  document.title = fill(WORDS.title, { panel: session.panel });
  byId("panel-name").textContent = session.side ? fill(WORDS.side, { panel: session.panel, side: session.side }) : session.panel;
  byId("progress-words").textContent = findings.all ? fill(WORDS.progress, { settled: findings.settled, all: findings.all }) : WORDS.noFindings;
  Object.assign(byId("progress"), { max: Math.max(1, findings.all), value: findings.all ? findings.settled : 1 });
  byId("undo").disabled = !session.can_undo;
  byId("redo").disabled = !session.can_redo;
}

/** @param {string} words */
function say(words) {
  byId("said").textContent = words;
}

function layWords() {
  const { lens } = WORDS;
  for (const [id, words] of [["undo", WORDS.undo], ["redo", WORDS.redo], ["keys-button", WORDS.keys], ["to-save", WORDS.toSave], ["fade-left", lens.rubbing], ["fade-right", lens.lines], ["grid-words", lens.grid], ["ids-words", lens.ids], ["condition-words", lens.condition], ["whole", lens.whole], ["nearer", "+"], ["farther", "−"]]) {
    byId(id).textContent = words;
  }
  for (const [id, words] of [["nearer", lens.nearer], ["farther", lens.farther], ["fade", lens.fade], ["paper", WORDS.paper], ["docket", WORDS.docket], ["tray", WORDS.tray]]) {
    byId(id).setAttribute("aria-label", words);
  }
}

function wire() {
  byId("undo").onclick = () => review.undo();
  byId("redo").onclick = () => review.redo();
  byId("keys-button").onclick = () => keys.explain(byId("dialog"));
  byId("to-save").onclick = () => turn("done");
  byId("nearer").onclick = () => view.zoom(NEARER);
  byId("farther").onclick = () => view.zoom(1 / NEARER);
  byId("whole").onclick = () => view.whole(review.session.width, review.session.height);
  byId("fade").oninput = (/** @type {any} */ event) => fade(Number(event.target.value) / 100);
  byId("grid-on").onchange = (/** @type {any} */ event) => over.show({ grid: event.target.checked });
  for (const name of ["ids", "condition"]) byId(`${name}-on`).onchange = (/** @type {any} */ event) => byId("net").classList.toggle(`with-${name}`, event.target.checked);
  paper.addEventListener("focus", () => over.show({ crossed: paper.matches(":focus-visible") }));
  paper.addEventListener("keydown", () => over.show({ crossed: true }));
  paper.addEventListener("pointerdown", () => over.show({ crossed: false }));
  paper.addEventListener("blur", () => over.show({ crossed: false }));
  new ResizeObserver(() => view.resize(paper.clientWidth, paper.clientHeight)).observe(paper);
}

/** @param {number} share from the rubbing alone (0) to the lines alone (1) */
function fade(share) {
  byId("rubbing").style.opacity = String(Math.min(1, 2 - 2 * share));
  byId("net-layer").style.opacity = String(Math.min(1, 2 * share));
}

/** Offer what an interrupted review left. */
function offer() {
  const { draft } = review.session;
  if (!draft) return;
  const dialog = byId("dialog");
  const words = WORDS.draft;
  const answer = (/** @type {boolean} */ take) => { dialog.close(); void review.draft(take); };
  dialog.replaceChildren(make("h2", { id: "dialog-title" }, words.title), make("p", {}, fill(words.words, { n: draft.steps })),
    ...(draft.same ? [] : [make("p", {}, words.other)]), button(words.take, () => answer(true), { class: "strong" }), button(words.drop, () => answer(false)));
  dialog.addEventListener("cancel", (/** @type {Event} */ event) => event.preventDefault(), { once: true });
  dialog.showModal();
}

review.addEventListener("loaded", layHead);
review.addEventListener("changed", (event) => {
  layHead();
  net.letterAgain();
  say(told(/** @type {CustomEvent} */ (event).detail, review.session.units).slice(0, 4).join("; "));
});
review.addEventListener("said", (event) => say(/** @type {CustomEvent} */ (event).detail));
review.addEventListener("chosen", () => {
  if (review.chosen.length && slip !== "glass") turn("here");
});

layWords();
layTabs();
layTray();
wire();
turn("doubts");
view.resize(paper.clientWidth, paper.clientHeight);
await review.load();
tiles.show(review.session.tiles);
view.whole(review.session.width, review.session.height);
net.letterAgain();
here.lay();
done.lay();
offer();
document.body.dataset.ready = "yes";
