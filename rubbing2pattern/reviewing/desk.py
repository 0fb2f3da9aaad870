"""The review of one folder: what the page asks for, and what every change does.

The one object with state behind the page. A change is one step of undo, be it of the net or of the
sheet of pieces; each is kept in the draft beside the folder before it is answered.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rubbing2pattern.errors import OutputNotWritten, RubbingError, UsageFault
from rubbing2pattern.glazing.entries import DECORATIONS, TYPED, Action, State
from rubbing2pattern.glazing.folder import Known, held_in
from rubbing2pattern.inputs.edits import Edit, edit_of
from rubbing2pattern.model import Panel
from rubbing2pattern.reviewing import bodies
from rubbing2pattern.reviewing.doubts_view import doubts_shown
from rubbing2pattern.reviewing.draft import Draft, Made, read_draft, write_draft
from rubbing2pattern.reviewing.net_view import Drawer, NetView
from rubbing2pattern.reviewing.ridge import ridge_near
from rubbing2pattern.reviewing.sheet import Written
from rubbing2pattern.reviewing.tiles import TILE_PX, Pack
from rubbing2pattern.workflows.correction_session import CorrectionSession
from rubbing2pattern.workflows.folders import KeptFolder, kept_folder, record_digest, rewrite

_MOST_PIECES = 2_000
"""Pieces whose cells are written at once at most."""


class Stale(Exception):
    """The page shows another state than the one that is here."""


@dataclass(frozen=True, slots=True)
class Done:
    """A change that was made: as sent, in words; the sheet and the findings ever seen before it."""

    made: Made
    said: tuple[str, ...]
    sheet: Written
    seen: frozenset[str]


class Desk:
    """See the module. Not for several threads at once: who serves it takes turns."""

    def __init__(self, folder: Path, pack: Pack | None, kept: KeptFolder) -> None:
        self.folder, self.pack = folder, pack
        self._saved = 0
        self._drawer = Drawer()
        self._seen: frozenset[str] = frozenset()
        self._open(kept)
        self.offered: Draft | None = read_draft(folder)

    def _open(self, kept: KeptFolder) -> None:
        self.options, self._rubbing = kept.options, kept.rubbing
        self.session = CorrectionSession(kept, record_digest(self.folder))
        held = held_in(self.folder, Known.of(self.session.panel), self.options.glass)
        self.sheet = Written(held, dict(held.entries))
        self._done: list[Done] = []
        self._undone: list[Done] = []
        self.step = 0
        self._view = self._drawer.view(self.session.panel)
        self._findings = self._doubts()

    @property
    def panel(self) -> Panel:
        """The panel as it is now."""
        return self.session.panel

    def net(self) -> bodies.Net:
        """Return all of the net."""
        return self._view.whole()

    def findings(self) -> bodies.Findings:
        """Return the doubts that are left."""
        return self._findings

    def written(self) -> bodies.Sheet:
        """Return the sheet of pieces."""
        return bodies.Sheet(
            columns=[*TYPED],
            choices=bodies.Choices(
                state=[s.value for s in State],
                action=[a.value for a in Action],
                decoration=[*DECORATIONS],
            ),
            thickness_unit=self.options.documents.units,
            entries=self._entries(),
        )

    def where(self) -> bodies.Session:
        """Return where the review stands."""
        panel, offered = self.panel, self.offered
        saved = self.session.base.corrections
        draft = None
        if offered is not None:
            same = offered.digest == self.session.digest
            draft = bodies.Draft(steps=len(offered.made), same=same)
        return bodies.Session(
            panel=panel.name,
            side=panel.side,
            units=self.options.documents.units,
            width=round(panel.width_mm, 1),
            height=round(panel.height_mm, 1),
            pieces=len(panel.pieces),
            digest=self.session.digest,
            step=self.step,
            can_undo=bool(self._done),
            can_redo=bool(self._undone),
            steps=[bodies.Step(words=[*d.said]) for d in self._done],
            by=saved[-1].by if saved else "",
            saved=self._saved,
            draft=draft,
            tiles=tiles_shown(self.pack),
        )

    def ridge(self, at: tuple[float, float], reach_mm: float) -> bodies.Ridge:
        """Return where the rubbing shows a lead near a place."""
        found = None
        if self._rubbing is not None:
            found = ridge_near(self._rubbing, self.panel, at, reach_mm)
        return bodies.Ridge(at=found)

    def preview(self, sent: bodies.Edits) -> bodies.Change:
        """Return what edits would do; nothing is changed. Raises `UsageFault`, `Stale`."""
        self._check(sent)
        answer = self.session.preview(*_edits(sent.edits))
        return self._change(self._view, self.panel, answer.panel, answer.said)

    def edit(self, sent: bodies.Edits) -> bodies.Changed:
        """Make edits as one step. Raises `UsageFault`, `Stale`."""
        self._check(sent)
        return self._make(Made(sent.edits))

    def type(self, numbers: Sequence[int], sent: bodies.Cells) -> bodies.Changed:
        """Write cells of the sheet as one step. Raises `UsageFault`, `Stale`."""
        self._check(sent)
        present = {piece.number for piece in self.panel.pieces}
        unknown = [n for n in numbers if n not in present]
        if unknown or not 0 < len(numbers) <= _MOST_PIECES:
            raise UsageFault(f"the panel has no piece {unknown[0] if unknown else ''}")
        return self._make(Made(cells=dict.fromkeys(numbers, sent.cells)))

    def undo(self, sent: bodies.Write) -> bodies.Changed:
        """Take the last step back. Raises `UsageFault`, `Stale`."""
        self._check(sent)
        if not self._done:
            raise UsageFault("there is nothing to take back")
        before, panel = self._view, self.panel
        last = self._done.pop()
        if last.made.edits:
            self.session.undo()
        self._undone.append(last)
        self.sheet, self._seen = last.sheet, last.seen
        return self._after(before, panel, ["taken back: " + "; ".join(last.said)])

    def redo(self, sent: bodies.Write) -> bodies.Changed:
        """Make the step again that was taken back. Raises `UsageFault`, `Stale`."""
        self._check(sent)
        if not self._undone:
            raise UsageFault("there is nothing to do again")
        before, panel = self._view, self.panel
        made = self._undone.pop()
        done = self._apply(made.made, again=True)
        self._done.append(done)
        return self._after(before, panel, done.said)

    def take(self, sent: bodies.Take) -> bodies.Changed:
        """Take up what an interrupted review left, or drop it; what cannot be made is told."""
        self._check(sent)
        before, panel, said = self._view, self.panel, []
        offered, self.offered = self.offered, None
        for made in offered.made if sent.take and offered is not None else ():
            try:
                self._done.append(self._apply(made))
            except RubbingError as fault:
                said.append(f"not made: {fault}")
        return self._after(before, panel, said)

    def save(self, sent: bodies.Save) -> bodies.Saved:
        """Write the corrections and the sheet into the folder, each whole or not at all.

        Raises
        ------
        RubbingError
            The folder or a sheet in it was changed meanwhile, or cannot be written.
        """
        self._check(sent)
        if not self._done:
            raise UsageFault("there is nothing to save")
        was = len(self.session.base.corrections)
        held = held_in(self.folder, Known.of(self.session.base), self.options.glass)
        sheet = self.sheet.meeting(held)
        if self.session.edits:
            self.session.save(sent.by, sent.date, sent.remark)
        kept = kept_folder(self.folder)
        held = held_in(self.folder, Known.of(kept.panel), kept.options.glass)
        filled = sheet.filled(held, {piece.number for piece in kept.panel.pieces})
        if filled != held:
            rewrite(kept, kept.panel, filled, options=kept.options, copies=kept.copies)
            kept = kept_folder(self.folder)
        write_draft(self.folder, "", ())
        self._saved += 1
        self._open(kept)
        files = [c.file for c in self.panel.corrections[was:]]
        return bodies.Saved(files=files, session=self.where())

    def _check(self, sent: bodies.Write) -> None:
        if (sent.digest, sent.step) != (self.session.digest, self.step):
            raise Stale
        if self.offered is not None and not isinstance(sent, bodies.Take):
            raise UsageFault("say first whether the changes of the last review are taken up")

    def _make(self, made: Made) -> bodies.Changed:
        before, panel = self._view, self.panel
        done = self._apply(made)
        self._done.append(done)
        self._undone.clear()
        return self._after(before, panel, done.said)

    def _apply(self, made: Made, *, again: bool = False) -> Done:
        """Make a change; nothing is changed where it is refused."""
        sheet, seen, options = self.sheet, self._seen, self.options
        if made.edits:
            edits, before = _edits(made.edits), self.panel
            answer = self.session.redo() if again else self.session.add(*edits)
            self.sheet = sheet.renumbered(_numbers(edits, before))
            return Done(made, tuple(answer.said), sheet, seen)
        self.sheet = sheet.typed(made.cells, options.glass, options.documents.units)
        return Done(made, (_typed(made.cells),), sheet, seen)

    def _after(self, before: NetView, panel: Panel, said: Sequence[str]) -> bodies.Changed:
        self.step += 1
        self._view = self._drawer.view(self.panel)
        if self.panel is not panel:
            self._findings = self._doubts()
        try:
            write_draft(self.folder, self.session.digest, [d.made for d in self._done])
        except OutputNotWritten as fault:
            said = [*said, f"{fault}; save soon, a crash would lose the changes"]
        return bodies.Changed(
            change=self._change(before, panel, self.panel, said),
            session=self.where(),
            findings=self._findings,
            entries=self._entries(),
        )

    def _change(
        self, before: NetView, panel: Panel, after: Panel, said: Sequence[str]
    ) -> bodies.Change:
        view = self._view if after is self.panel else self._drawer.view(after)
        net, gone = view.since(before)
        old = {f.id: f for f in panel.findings}
        new = {f.id: f for f in after.findings}
        units = self.options.documents.units
        return bodies.Change(
            said=[*said],
            areas=view.areas_since(before),
            findings_new=[f"{n}: {f.sentence(units)}" for n, f in new.items() if n not in old],
            findings_gone=[f"{n}: {f.sentence(units)}" for n, f in old.items() if n not in new],
            net=net,
            gone=gone,
        )

    def _doubts(self) -> bodies.Findings:
        left = {f.id for f in self.panel.findings}
        self._seen = self._seen | left
        doubts = doubts_shown(self.panel, self.options.documents.units, self._rubbing)
        return bodies.Findings(doubts=doubts, settled=len(self._seen - left), all=len(self._seen))

    def _entries(self) -> dict[str, dict[str, str]]:
        units = self.options.documents.units
        rows = {str(n): e.texts(units) for n, e in sorted(self.sheet.entries.items())}
        return {n: {c: t for c, t in row.items() if t} for n, row in rows.items()}


def tiles_shown(pack: Pack | None) -> bodies.Tiles:
    """Return what the page must know of the tiles."""
    if pack is None:
        return bodies.Tiles(tile=TILE_PX, px_per_mm=1.0, left=0.0, top=0.0, sizes=[], source="none")
    left, _, _, top = pack.frame.bounds_mm
    return bodies.Tiles(
        tile=TILE_PX,
        px_per_mm=pack.frame.px_per_mm,
        left=left,
        top=top,
        sizes=[*pack.sizes],
        source=pack.source,
    )


def _edits(given: Sequence[Mapping[str, Any]]) -> tuple[Edit, ...]:
    edits = []
    for told in given:
        fields = dict(told)
        kind = fields.pop("kind", None)
        if not isinstance(kind, str):
            raise UsageFault("an edit has no kind")
        edits.append(edit_of(kind, fields))
    return tuple(edits)


def _numbers(edits: Sequence[Edit], before: Panel) -> dict[int, int]:
    """Return the numbers that edits give, by the numbers of the panel before them."""
    numbers = {}
    for edit in edits:
        if edit.kind != "renumber":
            continue
        given = edit.given
        number = given.get("piece")
        if number is None:
            piece = before.piece_at(given["at"])
            number = None if piece is None else piece.number
        if number is not None:
            numbers[number] = given["number"]
    return numbers


def _typed(cells: Mapping[int, Mapping[str, str]]) -> str:
    numbers = [*cells]
    some = ", ".join(map(str, numbers[:6])) + (" …" if len(numbers) > 6 else "")
    first = cells[numbers[0]]
    what = ", ".join(
        f"{column} {text}" if text else f"no {column}" for column, text in first.items()
    )
    return f"{'piece' if len(numbers) == 1 else 'pieces'} {some}: {what}"
