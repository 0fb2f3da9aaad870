// The shapes of what the server sends; `bodies.py` is the other side of each.

/** @typedef {[number, number]} Point x to the right and y up, in mm from the lower left corner */
/** @typedef {{number: number, rings: number[][], at: Point, radius: number, area: number, sight: number, box: Point, cames: string[]}} Piece */
/** @typedef {{id: string, start: string, end: string, line: number[], width: number, length: number, stock: string, border: boolean, surety: number, gaps: Point[], pieces: number[], corrected: string}} Came */
/** @typedef {{id: string, at: Point, kind: string, cames: string[]}} Joint */
/** @typedef {{pieces: Piece[], cames: Came[], joints: Joint[]}} NetPart */
/** @typedef {{pieces: number[], cames: string[], joints: string[]}} Gone */
/** @typedef {{kind: string, [field: string]: unknown}} Edit */
/** @typedef {{words: string, edits: Edit[]}} Cure */
/** @typedef {{names: string[], severity: string, code: string, words: string, more: string[], places: Point[], pieces: number[], cames: string[], joints: string[], cures: Cure[]}} Doubt */
/** @typedef {{doubts: Doubt[], settled: number, all: number}} Findings */
/** @typedef {{tile: number, px_per_mm: number, left: number, top: number, sizes: Point[], source: string}} Tiles */
/** @typedef {{panel: string, side: string, units: "mm" | "in", width: number, height: number, pieces: number, digest: string, step: number, can_undo: boolean, can_redo: boolean, steps: {words: string[]}[], by: string, saved: number, draft: {steps: number, same: boolean} | null, tiles: Tiles}} Session */
/** @typedef {{number: number, before: number | null, now: number | null}} Area */
/** @typedef {{said: string[], areas: Area[], findings_new: string[], findings_gone: string[], net: NetPart, gone: Gone}} Change */
/** @typedef {Record<string, Record<string, string>>} Entries text by column by number of the piece */
/** @typedef {{change: Change, session: Session, findings: Findings, entries: Entries}} Changed */
/** @typedef {{columns: string[], choices: {state: string[], action: string[], decoration: string[]}, thickness_unit: string, entries: Entries}} Sheet */
/** @typedef {{kind: "piece", number: number} | {kind: "came", id: string} | {kind: "joint", id: string}} Thing something on the paper */
export {};
