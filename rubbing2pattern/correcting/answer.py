"""What an edit did to a panel: what is new, gone and changed, by name."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from rubbing2pattern.findings import Finding
from rubbing2pattern.model import Came, Joint, Panel, Piece


@dataclass(frozen=True, slots=True)
class Answer:
    """What an edit, undo or redo did to the panel.

    Attributes
    ----------
    panel : as it is now.
    said : what was done, a sentence each, with the names that places were resolved to.
    pieces_new, pieces_gone, pieces_changed : numbers.
    cames_new, cames_gone, cames_changed : ids.
    joints_new, joints_gone, joints_changed : ids.
    findings_new, findings_gone : findings that are there now and were not, and the other way.
    """

    panel: Panel
    said: tuple[str, ...] = ()
    pieces_new: tuple[int, ...] = ()
    pieces_gone: tuple[int, ...] = ()
    pieces_changed: tuple[int, ...] = ()
    cames_new: tuple[str, ...] = ()
    cames_gone: tuple[str, ...] = ()
    cames_changed: tuple[str, ...] = ()
    joints_new: tuple[str, ...] = ()
    joints_gone: tuple[str, ...] = ()
    joints_changed: tuple[str, ...] = ()
    findings_new: tuple[Finding, ...] = ()
    findings_gone: tuple[Finding, ...] = ()


def answer(before: Panel, panel: Panel, said: tuple[str, ...]) -> Answer:
    """Return what is different in a panel; parameters as the fields of `Answer`."""
    pieces = _different(before.pieces, panel.pieces, _number, _same_piece)
    cames = _different(before.cames, panel.cames, _id, _same_came)
    joints = _different(before.joints, panel.joints, _id, _same_joint)
    then, now = ({_doubt(f) for f in p.findings} for p in (before, panel))
    new = tuple(f for f in panel.findings if _doubt(f) not in then)
    gone = tuple(f for f in before.findings if _doubt(f) not in now)
    return Answer(panel, said, *pieces, *cames, *joints, new, gone)


def _different(
    before: Sequence[Any],
    now: Sequence[Any],
    name: Callable[[Any], Any],
    same: Callable[[Any, Any], bool],
) -> tuple[tuple[Any, ...], tuple[Any, ...], tuple[Any, ...]]:
    """Return the names of what is new, gone and changed."""
    old, left = {name(part): part for part in before}, {name(part) for part in now}
    new = tuple(name(part) for part in now if name(part) not in old)
    gone = tuple(own for own in old if own not in left)
    kept = ((old[name(part)], part) for part in now if name(part) in old)
    changed = tuple(name(b) for a, b in kept if a is not b and not same(a, b))
    return new, gone, changed


def _number(piece: Piece) -> int:
    return piece.number


def _id(part: Came | Joint) -> str:
    return part.id


def _same_piece(a: Piece, b: Piece) -> bool:
    shapes = ((p.outline, p.cut_outline, p.sight_outline) for p in (a, b))
    return a.cames == b.cames and all(
        one.equals_exact(other, 0.0) for one, other in zip(*shapes, strict=True)
    )


def _same_came(a: Came, b: Came) -> bool:
    first, second = (
        (c.curve, c.face_width_mm, c.stock, c.border, c.pieces, c.corrected) for c in (a, b)
    )
    return first == second


def _same_joint(a: Joint, b: Joint) -> bool:
    first, second = ((j.x_mm, j.y_mm, j.kind, j.cames) for j in (a, b))
    return first == second


def _doubt(finding: Finding) -> tuple[Any, ...]:
    return (finding.code, finding.at, finding.message)
