"""Findings of a corrected panel: which of the reading still hold, and which a person settled."""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

import shapely
from shapely.geometry import LineString, Point as ShapelyPoint

from rubbing2pattern.correcting.net import Net
from rubbing2pattern.correcting.one_lead import id_number, place_text
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Code, Finding, Kind, Severity, finding_of
from rubbing2pattern.findings.names import same_doubt
from rubbing2pattern.inputs.correction_tables import Dismiss
from rubbing2pattern.model import Corrected, Dismissal, Panel
from rubbing2pattern.options.correct import CorrectOptions

_OF_LEADS = (Code.DOUBTFUL_LEAD, Code.DOUBTFUL_JOINT, Code.BRIDGED_GAP, Code.FREE_END)
"""Findings about a lead or a joint are dropped when it was removed or moved."""
_OF_GAPS = (Code.POSSIBLE_LEAD,)
"""Findings about a lead that may be missing are dropped when one is drawn there."""
_SAME_LINE_MM = 0.1
"""How far from a line a place still lies on it."""
_LEFT_SHARE = 0.1
"""A piece of which less is left in any other is lost; corners that are cut anew share some."""
_MOST_NAMES, _NEAREST = 12, 3
"""Names of findings that a message lists at most; of more, how many of the nearest it lists."""
_GRAVITY = (Severity.NOTE, Severity.CHECK, Severity.WRONG)


def of_reading(
    findings: Iterable[Finding], made_again: Sequence[Finding], same_place_mm: float
) -> list[Finding]:
    """Return the findings that only the picture could give.

    Parameters
    ----------
    findings : of the panel before.
    made_again : what cutting and auditing that panel again finds; these will be found once more if
        they still hold.
    same_place_mm : findings of one code and severity this near are one.
    """
    return [
        f
        for f in findings
        if not any(
            f.severity is other.severity and same_doubt(f, other, same_place_mm)
            for other in made_again
        )
    ]


def still_true(
    findings: Iterable[Finding], before: Net, net: Net, touch_mm: float, options: CorrectOptions
) -> list[Finding]:
    """Return the findings of the reading that the changes did not settle.

    Rules:

    1. One about a lead or a joint is settled when a lead within `touch_mm` of it is gone or changed
       its place.
    2. One about a missing lead is settled when a lead that was added or moved passes within reach.
    3. All others stay.
    """
    ground = shapely.STRtree([lead.line for lead in net.leads.values()])
    gone = [
        lead.line
        for name, lead in before.leads.items()
        if not net.unchanged(name) and not _covered(lead.line, ground)
    ]
    drawn = [
        lead.line
        for name, lead in net.leads.items()
        if lead.corrected in (Corrected.ADDED, Corrected.MOVED) and not net.unchanged(name)
    ]
    kept = []
    for finding in findings:
        lines, limit_mm = (gone, touch_mm) if finding.code in _OF_LEADS else ([], 0.0)
        if finding.code in _OF_GAPS:
            lines, limit_mm = drawn, options.reach_mm
        at = finding.at
        if at is None or not lines or _away_mm(lines, at) > limit_mm:
            kept.append(finding)
    return kept


def _covered(line: LineString, ground: shapely.STRtree) -> bool:
    """Return whether lines run along the whole of another."""
    near = ground.query(line, predicate="dwithin", distance=_SAME_LINE_MM)
    along = shapely.union_all(ground.geometries[near]).buffer(_SAME_LINE_MM)
    return bool(along.covers(line))


def lying_open(before: Panel, cut: Panel) -> Iterator[Finding]:
    """Find the pieces that are gone after changes, and of which others share hardly any."""
    there = {piece.number for piece in cut.pieces}
    ground = shapely.STRtree([piece.outline for piece in cut.pieces])
    for piece in before.pieces:
        if piece.number in there:
            continue
        near = ground.geometries[ground.query(piece.outline)]
        left_mm2 = float(shapely.area(shapely.intersection(near, piece.outline)).sum())
        if left_mm2 < _LEFT_SHARE * piece.outline.area:
            yield finding_of(
                Kind.GLASS_LIES_OPEN,
                piece.label_at,
                area_mm2=piece.outline.area,
                far_mm=shapely.hausdorff_distance(
                    shapely.Point(piece.label_at), piece.outline.exterior
                ),
            )


def about_what_stays(findings: Iterable[Finding], panel: Panel) -> list[Finding]:
    """Return the findings whose subject is still in a panel.

    Rules:

    1. One is settled when the came, joint or piece that its sentence names first is gone.
    2. Others are not named any more when they are gone.
    3. The audit finds the pieces anew that a place touches, unless the sentence names them.
    4. That glass lies open is settled when a piece lies there again.
    """
    there: dict[str, Container[Any]] = {
        "cames": {came.id for came in panel.cames},
        "joints": {joint.id for joint in panel.joints},
        "pieces": {piece.number for piece in panel.pieces},
    }
    kept = []
    for f in findings:
        named: dict[str, tuple[Any, ...]] = {name: getattr(f, name) for name in there}
        left: dict[str, Any] = {
            name: tuple(own for own in names if own in there[name]) for name, names in named.items()
        }
        about = f.kind.about & there.keys() if f.kind else ()
        if any(named[name][:1] != left[name][:1] for name in about):  # rule 1
            continue
        open_at = f.at if f.kind is Kind.GLASS_LIES_OPEN else None
        if open_at is not None and panel.piece_at(open_at) is not None:
            continue  # rule 4
        if f.at is not None and "pieces" not in about:  # rule 3
            left["pieces"] = ()
        kept.append(replace(f, **left))
    return kept


def without_dismissed(
    findings: Iterable[Finding], dismissed: Sequence[Dismissal]
) -> tuple[Finding, ...]:
    """Return the findings that nobody dismissed; one that became graver is open again."""
    gravity = {d.finding.id: _GRAVITY.index(d.finding.severity) for d in dismissed}
    return tuple(f for f in findings if _GRAVITY.index(f.severity) > gravity.get(f.id, -1))


def meant(
    table: Dismiss, panel: Panel, after: Sequence[Finding], reach_mm: float
) -> tuple[Finding, ...]:
    """Return the findings that a person dismisses: of the panel before, else of the corrected one.

    A name means the panel before alone, for nobody knows the names of new findings.

    Parameters
    ----------
    panel : before the file.
    after : findings of the corrected panel.

    Raises
    ------
    UsageFault
        When there is none.
    """
    if table.named is not None:
        return (finding_named(table.named, panel),)
    assert table.code is not None
    return _of_code(table, table.code, (panel.findings, after), reach_mm)


def finding_named(name: str, panel: Panel) -> Finding:
    """Return the finding with this name; if there is none, say what became of it or list the names.

    One that was dismissed and became graver is open again under its name.

    Raises
    ------
    UsageFault
        When there is none.
    """
    for finding in panel.findings:
        if finding.id == name:
            return finding
    for dismissal in panel.dismissed:
        if dismissal.finding.id == name:
            when = f"by {dismissal.by} on {dismissal.date}"
            raise UsageFault(f"finding {name} was dismissed already, {when}; leave this table out")
    for file in panel.corrections:
        if name in file.findings_gone:
            when = f"by the corrections of {file.by} on {file.date} ({file.file})"
            raise UsageFault(f"finding {name} was settled already, {when}; leave this table out")
    names = sorted((finding.id for finding in panel.findings), key=id_number)
    if not names:
        raise UsageFault(f"there is no finding {name}: the panel has none; leave this table out")
    if len(names) <= _MOST_NAMES:
        raise UsageFault(f"there is no finding {name}; this panel has {', '.join(names)}")
    near = sorted(names, key=lambda own: abs(id_number(own) - id_number(name)))[:_NEAREST]
    listed = ", ".join(sorted(near, key=id_number))
    raise UsageFault(
        f"there is no finding {name}; of the {len(names)} of this panel the nearest are {listed}"
    )


def _of_code(
    table: Dismiss, code: Code, panels: Sequence[Sequence[Finding]], reach_mm: float
) -> tuple[Finding, ...]:
    """Return the findings of a code that a table means, in the first panel that has some."""
    for findings in panels:
        found = [f for f in findings if f.code is code]
        if table.at is not None:
            at = table.at
            placed = [f for f in found if f.at is not None and math.dist(f.at, at) <= reach_mm]
            placed.sort(key=lambda f: (math.dist(f.at or at, at), f.message))
            found = placed[:1]
        elif table.piece is not None:
            found = [f for f in found if table.piece in f.pieces]
        else:
            found = [f for f in found if f.at is None]
        if found:
            return tuple(found)
    where = (
        f"within {reach_mm:g} mm of {place_text(table.at)}" if table.at else "of the whole panel"
    )
    if table.piece is not None:
        where = f"at piece {table.piece}"
    elsewhere = [f.at for findings in panels for f in findings if f.code is code and f.at]
    hint = f"; there is one at {place_text(elsewhere[0])}" if elsewhere else ""
    raise UsageFault(f"there is no finding {code.value} {where}{hint}")


def _away_mm(lines: Sequence[shapely.LineString], at: tuple[float, float]) -> float:
    return min(float(line.distance(ShapelyPoint(at))) for line in lines)
