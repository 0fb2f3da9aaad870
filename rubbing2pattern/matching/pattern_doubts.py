"""Glass that does not fit where the pattern itself is in doubt."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import shapely
from shapely.geometry import LineString, Point as ShapelyPoint

from rubbing2pattern.findings import OF_SHAPE, Finding, Kind, Severity, finding_of
from rubbing2pattern.matching.loose import Match, Matches, Placed, Verdict
from rubbing2pattern.matching.panel_openings import openings_of
from rubbing2pattern.matching.pattern_evidence import Asked, LaidGlass, Wrong, asked_for
from rubbing2pattern.model import Panel
from rubbing2pattern.options.match import MatchOptions

_KINDS = {
    Wrong.JOINT: Kind.GLASS_MOVES_JOINT,
    Wrong.LEAD: Kind.GLASS_MOVES_LEAD,
    Wrong.BOW: Kind.GLASS_BOWS_LEAD,
}


def pattern_asked(panel: Panel, matches: Matches, options: MatchOptions) -> tuple[Asked, ...]:
    """Return the corrections of the pattern that matched glass asks for; see `asked_for`."""
    openings = {o.number: o for o in openings_of(panel, options.opening_mm)}
    laid = tuple(glass for glass in _laid(matches) if glass.number in openings)
    return asked_for(laid, panel, openings, options)


def with_pattern_doubts(
    matches: Matches,
    panel: Panel,
    asked: Sequence[Asked],
    offered: Mapping[str, str],
    options: MatchOptions,
) -> Matches:
    """Return matches that say where the pattern may be wrong rather than the glass.

    Rules:

    1. a joint or lead that several glasses want elsewhere gives a finding, and each of them names
       it;
    2. a stretch that binds or falls short names every finding of the panel about a shape that lies
       within `doubt_mm` of it, or is about a lead that runs there.

    Parameters
    ----------
    offered : the file that holds the correction, by the name of the joint or lead.
    """
    numbers = {piece.number for piece in panel.pieces}
    about: dict[str, list[str]] = {}
    for one in asked:  # rule 1
        for name in one.names:
            about.setdefault(name, []).append(one.id)
    findings = [_asked(one, offered.get(one.id)) for one in asked]
    shapes = [f for f in panel.findings if f.code in OF_SHAPE and f.severity is not Severity.NOTE]
    told = []
    for match in matches.matches:
        names = about.get(match.piece.id, [])
        here = match.placed is not None and match.placed.number in numbers
        doubts = _near(match, shapes, panel, options) if here else []  # rule 2
        if doubts:
            findings.append(_doubted(match, doubts))
        every = dict.fromkeys((*match.pattern, *names, *map(_name, doubts)))
        told.append(replace(match, pattern=tuple(every)))
    return replace(matches, matches=tuple(told), findings=(*matches.findings, *findings))


def _laid(matches: Matches) -> Iterator[LaidGlass]:
    """Yield whole pieces in their places, and lost ones in the empty opening that is nearest."""
    empty = set(matches.unfilled)
    lost: dict[int, tuple[float, LaidGlass]] = {}
    for m in matches.matches:
        name, spread_mm = m.piece.id, m.piece.uncertainty_mm
        if m.placed is not None and m.verdict is not Verdict.FRAGMENT:
            yield LaidGlass(name, m.placed.number, m.placed.outline, spread_mm)
        elif (near := m.nearest) is not None and not near.over and {*near.numbers} <= empty:
            glass = LaidGlass(name, near.numbers[0], near.outline, spread_mm)
            misses = max(near.large_mm, near.small_mm)
            if len(near.numbers) == 1 and misses < lost.get(glass.number, (math.inf,))[0]:
                lost[glass.number] = (misses, glass)
    yield from (glass for _, glass in lost.values())


def _asked(one: Asked, file: str | None) -> Finding:
    return finding_of(
        _KINDS[one.wrong],
        one.to,
        pieces=one.numbers,
        cames=(one.id,) if one.of_lead else (),
        joints=() if one.of_lead else (one.id,),
        off_mm=one.far_mm,
        uncertain_mm=one.uncertainty_mm,
        file=file,
    )


def _near(
    match: Match, findings: Sequence[Finding], panel: Panel, options: MatchOptions
) -> list[Finding]:
    placed = match.placed
    if placed is None or not (placed.groze or placed.short):
        return []
    return [f for f in findings if _touches(f, placed, panel, options)]


def _touches(finding: Finding, placed: Placed, panel: Panel, options: MatchOptions) -> bool:
    """Rule 2."""
    reach_mm = 0.5 * panel.heart_mm + panel.clearance_mm
    joints = [ShapelyPoint(j.at) for j in panel.joints if j.id in finding.joints]
    places = [*joints, *([] if finding.at is None else [ShapelyPoint(finding.at)])]
    leads = [LineString(c.path) for c in panel.cames if c.id in finding.cames]
    for stretch in (*placed.groze, *placed.short):
        line = LineString(stretch.path) if len(stretch.path) > 1 else ShapelyPoint(stretch.at)
        at = ShapelyPoint(stretch.at)
        beside_mm = reach_mm + stretch.most_mm + options.tolerance_mm
        if any(shapely.dwithin(place, line, options.doubt_mm) for place in places):
            return True
        if any(shapely.dwithin(lead, at, beside_mm) for lead in leads):
            return True
    return False


def _doubted(match: Match, doubts: Sequence[Finding]) -> Finding:
    assert match.placed is not None
    worst = max((*match.placed.groze, *match.placed.short), key=lambda stretch: stretch.most_mm)
    said = " and ".join(f"{_name(f)} ({f.code})" if f.id else f.code for f in doubts)
    return finding_of(
        Kind.DOUBTED_THERE,
        worst.at,
        pieces=(match.placed.number,),
        loose=match.piece.id,
        doubts=said,
    )


def _name(finding: Finding) -> str:
    return finding.id or finding.code.value
