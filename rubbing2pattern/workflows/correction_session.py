"""A session of corrections of one folder: edits with undo and redo, saved as files of corrections.

A session has no page and no clock: who corrects and on which day comes from the person.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rubbing2pattern.correcting.answer import Answer, answer
from rubbing2pattern.errors import OutputNotWritten, UsageFault
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.inputs.edits import Edit, corrections_of, corrections_text
from rubbing2pattern.model import Panel
from rubbing2pattern.output import CORRECTIONS_NAMES
from rubbing2pattern.workflows.correct import correct_kept
from rubbing2pattern.workflows.corrected_panel import Corrected, PanelBefore
from rubbing2pattern.workflows.correction_folding import Edits, Made, made_further, nothing_made
from rubbing2pattern.workflows.folders import KeptFolder, kept_folder, record_digest


@dataclass(frozen=True, slots=True)
class _State:
    """The panel after a step.

    Attributes
    ----------
    closed : edits of the files before the last.
    made : what the last file made.
    """

    closed: tuple[Edits, ...]
    made: Made

    @property
    def files(self) -> tuple[Edits, ...]:
        return tuple(edits for edits in (*self.closed, self.made.edits) if edits)


class CorrectionSession:
    """Corrections of one folder, made one after the other and saved together.

    Attributes
    ----------
    folder : the folder of results.
    digest : SHA-256 of the record that the session was opened on, hexadecimal.
    """

    def __init__(self, kept: KeptFolder, digest: str) -> None:
        self.folder = kept.place
        self._begin(kept, digest)

    def _begin(self, kept: KeptFolder, digest: str) -> None:
        self._kept, self.digest = kept, digest
        self._states = [_State((), nothing_made(PanelBefore(kept.panel, kept.options)))]
        self._undone: list[_State] = []
        self._previewed: tuple[Edits, _State] | None = None

    @classmethod
    def open(cls, folder: Path | str) -> CorrectionSession:
        """Open a session on a folder of results, which is read once.

        Raises
        ------
        InputUnreadable, OutputNotWritten
            The folder cannot be read or replaced; see `kept_folder`.
        """
        return cls(kept_folder(folder), record_digest(Path(folder)))

    @property
    def base(self) -> Panel:
        """The panel without the edits."""
        return self._states[0].made.panel

    @property
    def panel(self) -> Panel:
        """The panel as corrected so far."""
        return self._states[-1].made.panel

    @property
    def edits(self) -> tuple[Edit, ...]:
        """What will be written, in order."""
        return tuple(edit for edits in self._states[-1].files for edit in edits)

    @property
    def can_undo(self) -> bool:
        """Whether there is a step to take back."""
        return len(self._states) > 1

    @property
    def can_redo(self) -> bool:
        """Whether a step was taken back and nothing else done since."""
        return bool(self._undone)

    def preview(self, *edits: Edit) -> Answer:
        """Return what edits would do; nothing is changed.

        Raises
        ------
        UsageFault
            One of them cannot be made.
        """
        after = self._after(edits).made
        return answer(self.panel, after.panel, after.said)

    def add(self, *edits: Edit) -> Answer:
        """Make edits; several at once are one step of undo, and all mean the panel before it.

        Raises
        ------
        UsageFault
            One of them cannot be made; nothing is changed.
        """
        told = self.preview(*edits)
        self._states.append(self._after(edits))
        self._undone.clear()
        self._previewed = None
        return told

    def undo(self) -> Answer:
        """Take the last step back.

        Raises
        ------
        UsageFault
            There is none.
        """
        if not self.can_undo:
            raise UsageFault("there is nothing to undo")
        gone = self._states.pop()
        self._undone.append(gone)
        self._previewed = None
        back = tuple(f"undone: {said}" for said in gone.made.said)
        return answer(gone.made.panel, self.panel, back)

    def redo(self) -> Answer:
        """Make the step again that was taken back last.

        Raises
        ------
        UsageFault
            There is none.
        """
        if not self.can_redo:
            raise UsageFault("there is nothing to redo")
        before = self.panel
        self._states.append(self._undone.pop())
        self._previewed = None
        return answer(before, self.panel, self._states[-1].made.said)

    def files(self, by: str, day: Any, remark: str = "") -> tuple[str, ...]:
        """Return the texts of the files of corrections that say what was done.

        Parameters
        ----------
        by, remark : who corrects, and a note to keep.
        day : a date, or a text like 2026-11-25.

        Raises
        ------
        UsageFault
            A file does not take one of them.
        """
        return tuple(
            corrections_text(corrections_of(edits, by, day, remark))
            for edits in self._states[-1].files
        )

    def save(self, by: str, day: Any, remark: str = "") -> Corrected:
        """Apply the files to the folder, as `correct_folder` does: all of them or none.

        The session then goes on with the folder as it is, without a step to undo.

        Raises
        ------
        UsageFault
            There is nothing to save, or a file does not take `by`, `day` or `remark`.
        InputUnreadable
            The folder's sheet of pieces has problems.
        OutputNotWritten
            The folder was changed since it was opened, or cannot be replaced.
        """
        texts = self.files(by, day, remark)
        if not texts:
            raise UsageFault("there is nothing to save")
        if record_digest(self.folder) != self.digest:
            raise OutputNotWritten(
                f"{self.folder} was changed by another program since it was opened; open it anew"
            )
        first = len(self.base.corrections) + 1
        files = [
            corrections_from(text.encode(), CORRECTIONS_NAMES.replace("*", str(number)))
            for number, text in enumerate(texts, start=first)
        ]
        done = correct_kept(self._kept, files)
        self._begin(kept_folder(self.folder), record_digest(self.folder))
        return done

    def _after(self, edits: Edits) -> _State:
        """Return the state after edits; that of the last ones asked for is kept."""
        if not edits:
            raise UsageFault("there is nothing to do: no edit is given")
        if self._previewed is None or self._previewed[0] != edits:
            now = self._states[-1]
            made = made_further(now.made, edits)
            same_file = made.before is now.made.before
            closed = now.closed if same_file else (*now.closed, now.made.edits)
            self._previewed = (edits, _State(closed, made))
        return self._previewed[1]
