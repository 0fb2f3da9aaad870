// All words of the page. A translation is this one file.

export const WORDS = {
  title: "Review of {panel}",
  side: "{panel}, {side}",
  progress: "{settled} of {all} findings settled",
  noFindings: "No finding was made",
  undo: "Take back",
  redo: "Do again",
  keys: "Keys",
  toSave: "Finish …",
  lens: {
    rubbing: "rubbing", lines: "lines", fade: "Show more of the rubbing, or more of the lines",
    grid: "millimetres", ids: "names", condition: "condition",
    nearer: "Nearer", farther: "Farther", whole: "Whole",
  },
  paper: "The rubbing with the pattern over it. Arrow keys move it under the cross in the middle, Enter points there.",
  docket: "What is to be settled",
  tray: "What a tap on the paper does",
  tools: {
    look: "Look", lookHelp: "tap a lead, a joint or a piece",
    lead: "Draw a lead", leadHelp: "tap where it begins, where it runs, where it ends; tap the end twice",
    shift: "Shift", shiftHelp: "drag a joint or a lead to where it lies",
    tape: "Tape", tapeHelp: "tap two places to measure between them",
  },
  tabs: { doubts: "Doubts", here: "Here", glass: "Glass", done: "Done" },
  doubts: {
    count: "Doubt {n} of {all}", none: "Nothing is in doubt any more.",
    next: "Next", back: "Before", go: "Show the place",
    whole: "about the whole panel", cures: "What is it?",
    ask: "Look at it", shown: "shown on the paper: press again to do it", cannot: "cannot be done: {why}",
    draw: "Draw the lead myself", shift: "Shift what is wrong", width: "Another width",
    list: "All doubts", also: "{n} findings that are one doubt",
    severity: { wrong: "must be settled", check: "look here", note: "worth knowing" },
  },
  here: {
    none: "Tap a lead, a joint or a piece on the paper, or name it:", name: "number or name, as 12, C7, J3", find: "Find",
    noSuch: "There is no {name}.",
    lead: "Lead {id}", joint: "Joint {id}", piece: "Piece {n}", pieces: "{n} pieces: {list}",
    leadFacts: "{length} long, {width} wide ({stock})", border: "of the border", surety: "the rubbing shows it {share}",
    shares: ["hardly", "in part", "well", "clearly"],
    between: "between pieces {list}", beside: "beside piece {list}", corrected: "settled by hand: {what}",
    takeOut: "Take this lead out", shift: "Lay it elsewhere: drag it", width: "Its width",
    setWidth: "Set this width", setAll: "Set it for all {n} of {stock}",
    jointFacts: "{n} leads meet here", jointEnd: "one lead ends here", pieceFacts: "glass {width} × {height}, {area}",
    number: "Its number", renumber: "Give this number", split: "Draw a lead across it", join: "They are one piece",
    more: "Add further pieces by tapping them", clear: "Let go",
  },
  glass: {
    choose: "Tap pieces on the paper, or choose them in the list.", chosen: "{what}",
    every: "Choose all", none: "Choose none", write: "Write", empty: "(empty)", mixed: "(several)",
    columns: {
      state: "state", action: "action", glass: "glass", thickness: "thickness", grain_deg: "grain, degrees",
      decoration: "painted?", remark: "remark",
    },
    list: "All pieces", piece: "piece", size: "size", key: "Condition on the paper",
  },
  done: {
    none: "No change waits to be saved.", steps: "Changes that are not saved", by: "Who settled it", date: "Date", remark: "Remark, if any",
    save: "Write into the folder", saving: "Writing the folder …", saved: "Written: {files}.", onlySheet: "the sheet of pieces",
    quit: "Close the review", closed: "The review is closed. This tab can be closed too.",
    leave: "{n} changes are not saved. They are kept and offered the next time.",
  },
  change: {
    piecesNew: "new pieces {list}", piecesGone: "gone: pieces {list}", area: "piece {n}: {before} → {now}", more: "and {n} more",
    settled: "settles {n}", raised: "raises {n}", findingNew: "new: {words}", findingGone: "no longer in doubt: {words}", nothing: "no piece changes",
  },
  draft: {
    title: "The last review ended without saving", words: "It made {n} changes. Take them up?",
    other: "The panel was changed since; what no longer fits is left out.", take: "Take them up", drop: "Drop them",
  },
  tape: "{length}, {across} across, {up} up",
  draw: { title: "A lead is being drawn", end: "Lay it", undo: "Last point back", drop: "Drop it", width: "Its width in mm, if measured", free: "it ends freely", shape: "{n} points: {shape}", straight: "straight", arc: "an arc", curve: "a free line", first: "Tap where it runs on and where it ends." },
  keysTitle: "Keys", close: "Close",
  keyList: [
    ["N, P", "next doubt, doubt before"], ["1 … 9", "show what a cure does; again: do it"], ["Z, Y", "take back, do again"],
    ["L, D, S, T", "look, draw a lead, shift, tape"], ["arrow keys", "move the paper under the cross; with Shift by 1 mm"],
    ["Enter, Space", "tap at the cross"], ["+, −, 0", "nearer, farther, whole panel"], ["Esc", "let go, drop what was begun"],
    ["G, I, C", "millimetres, names, condition"],
  ],
  keysOn: "Single letters work as keys",
  fault: { gone: "The program was ended. Start the command again; nothing is lost.", stale: "Another tab changed the panel; the page shows it now." },
};

/**
 * Fill the places in braces of a text.
 * @param {string} text
 * @param {Record<string, string | number>} values
 */
export function fill(text, values) {
  return text.replace(/\{(\w+)\}/g, (_, name) => String(values[name] ?? ""));
}

/**
 * A length in the units of the panel.
 * @param {number} mm
 * @param {"mm" | "in"} units
 */
export function lengthText(mm, units) {
  return units === "in" ? `${(mm / 25.4).toFixed(2)} in` : `${mm.toFixed(1)} mm`;
}

/**
 * An area in the units of the panel.
 * @param {number} mm2
 * @param {"mm" | "in"} units
 */
export function areaText(mm2, units) {
  return units === "in" ? `${(mm2 / 645.16).toFixed(1)} in²` : `${(mm2 / 100).toFixed(1)} cm²`;
}
