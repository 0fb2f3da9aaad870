"""What a doubt most likely is: findings that are one doubt, in order of harm, each with its cures.

Rules:

1. What is found about one lead, that it may be none, has gaps or ends freely, is one doubt.
2. Leads beside one gap of the border are one doubt, widths of one kind and one stock size, and
   notes of one kind.
3. The gravest come first, then those without which the net may change, then by name.
4. A cure is edits that can be made as they are. That all is right as drawn, which dismisses the
   findings, is the last, or the first where it is the likeliest.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from rubbing2pattern.documents.kept_rubbing import KeptRubbing
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import GRAVEST_FIRST, Code, Finding, Kind, Severity
from rubbing2pattern.geometry.curves import Point, as_point
from rubbing2pattern.inputs.edits import Edit, edit_of
from rubbing2pattern.model import Came, Joint, JointKind, Panel, Piece
from rubbing2pattern.reviewing.ridge import darkness, ridge_direction, ridge_near
from rubbing2pattern.units import Unit, parse_length

_OF_ONE_LEAD = frozenset({Code.DOUBTFUL_LEAD, Code.BRIDGED_GAP, Code.FREE_END})
_OF_WIDTHS = frozenset({Code.WIDTH_UNCERTAIN, Code.WIDTH_BETWEEN_STOCK})
_CHANGES_NET = (
    Code.BORDER_OPEN,
    Code.SEPARATE_PARTS,
    Code.NO_GLASS_LEFT,
    Code.DOUBTFUL_LEAD,
    Code.POSSIBLE_LEAD,
    Code.FREE_END,
    Code.INWARD_CORNER,
    Code.SLIVER_PIECE,
    Code.SMALL_PIECE,
    Code.DOUBTFUL_JOINT,
    Code.BRIDGED_GAP,
    Code.LEAD_OFF,
)
_INWARD_DEG = 200.0
"""Angle inside the glass from which a corner points inward; curves in steps stay far below."""
_CORNER_MM = 1.5
"""Outlines are simplified by so much before corners are looked for: half a narrow lead."""
_STRIP_MM = 12.0
"""How far around a dark strip is looked at, for its middle and its direction: two wide leads."""
_EVEN = 0.5
"""Probability from which a lead is likelier one than none."""
_MOST_GUESSES = 3
"""Leads offered from one corner at most."""
_MOST_CURES = 6
"""Buttons of a doubt at most; more are no choice."""

Fields = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Cure:
    """A way to settle a doubt: plain words, and the edits that do it."""

    words: str
    edits: tuple[Edit, ...]


@dataclass(frozen=True, slots=True)
class Doubt:
    """Findings that are one doubt, what it is in words, and its cures, the likeliest first."""

    findings: tuple[Finding, ...]
    words: str
    cures: tuple[Cure, ...]


RIGHT: Mapping[Code, str] = {
    Code.DOUBTFUL_LEAD: "It is a lead",
    Code.BRIDGED_GAP: "It runs through here",
    Code.FREE_END: "It is a strap and ends here",
    Code.POSSIBLE_LEAD: "No lead runs here",
    Code.INWARD_CORNER: "The glass is cut so",
    Code.SLIVER_PIECE: "It is a piece of glass",
    Code.SMALL_PIECE: "It is a piece of glass",
    Code.DOUBTFUL_JOINT: "They meet as drawn",
    Code.LEAD_OFF: "It runs as drawn",
    Code.BORDER_OPEN: "The border is so",
    Code.WIDTH_UNCERTAIN: "The width is as drawn",
    Code.WIDTH_BETWEEN_STOCK: "The width is as measured",
}
"""What dismisses a finding, in words; of any other code it has been seen to."""
_SEEN = "Seen to, nothing to change"


def queue(panel: Panel, units: Unit, rubbing: KeptRubbing | None = None) -> tuple[Doubt, ...]:
    """Return the doubts of a panel, most harmful first.

    Parameters
    ----------
    panel, units : the panel, and in what its sentences are.
    rubbing : shows where a lead that is not drawn may run; without it no cure draws one.
    """
    groups: dict[tuple[Any, ...], list[Finding]] = {}
    for finding in sorted(panel.findings, key=_harm):
        groups.setdefault(_group(panel, finding), []).append(finding)
    return tuple(_doubt(panel, tuple(group), units, rubbing) for group in groups.values())


def _harm(finding: Finding) -> tuple[int, int, int, str]:
    code = finding.code
    net = _CHANGES_NET.index(code) if code in _CHANGES_NET else len(_CHANGES_NET)
    return GRAVEST_FIRST.index(finding.severity), net, len(finding.id), finding.id


def _group(panel: Panel, finding: Finding) -> tuple[Any, ...]:
    """Return what findings of one doubt share (rules 1 and 2)."""
    if finding.severity is Severity.NOTE and finding.kind is not None:
        return "note", finding.kind.key
    if finding.code in _OF_ONE_LEAD and finding.cames:
        return "lead", finding.cames[0]
    if finding.code is Code.BORDER_OPEN and _known(panel, finding):
        ends = _gap(panel, finding)
        return ("gap", *(joint.id for joint in ends)) if ends else ("one", finding.id)
    if (
        finding.code in _OF_WIDTHS
        and finding.cames
        and finding.kind is not None
        and _known(panel, finding)
    ):
        return "width", finding.kind.key, _came(panel, finding.cames[0]).stock
    return ("one", finding.id)


def _doubt(
    panel: Panel, findings: tuple[Finding, ...], units: Unit, rubbing: KeptRubbing | None
) -> Doubt:
    first = findings[0]
    words = first.sentence(units)
    if len(findings) > 1 and first.severity is Severity.NOTE:
        words = f"{len(findings)} places of one kind, the first: {words}"
    found = [] if first.severity is Severity.NOTE else [*_cures(panel, findings)]
    if first.code is Code.INWARD_CORNER and first.kind is Kind.INWARD_CORNER:
        found = _darkest_first(found, rubbing)[:_MOST_GUESSES]
    if first.code is Code.POSSIBLE_LEAD and rubbing is not None:
        found += _where_shown(panel, first, rubbing)
    saying = RIGHT.get(first.code, _SEEN)
    why = f"{saying[0].lower()}{saying[1:]}: looked at on the review page"
    dismissed = tuple(edit_of("dismiss", {"name": f.id, "why": why}) for f in findings)
    right = Cure(saying, dismissed)
    if first.code is Code.BRIDGED_GAP or first.numbers.get("chance", 0.0) > _EVEN:
        return Doubt(findings, words, (right, *found[: _MOST_CURES - 1]))
    return Doubt(findings, words, (*found[: _MOST_CURES - 1], right))


def _darkest_first(found: list[Cure], rubbing: KeptRubbing | None) -> list[Cure]:
    """Return leads that may be drawn, first those along which the rubbing is darkest."""
    if rubbing is None:
        return found
    lines = [cure.edits[0].given for cure in found]
    dark = [darkness(rubbing, line["from"], line["to"]) for line in lines]
    return [found[k] for k in sorted(range(len(found)), key=lambda k: -dark[k])]


def _where_shown(panel: Panel, finding: Finding, rubbing: KeptRubbing) -> Iterator[Cure]:
    """Yield a lead across the piece along the dark strip that the rubbing shows."""
    if finding.at is None:
        return
    at = ridge_near(rubbing, panel, finding.at, _STRIP_MM) or finding.at
    piece = panel.piece_at(at)
    if piece is None:
        return
    way = np.array(ridge_direction(rubbing, at, _STRIP_MM))
    far = math.hypot(panel.width_mm, panel.height_mm)
    ends = []
    for sign in (1.0, -1.0):
        ray = shapely.LineString((at, at + sign * far * way))
        hits = shapely.get_coordinates(shapely.intersection(ray, piece.outline.boundary))
        if not len(hits):
            return
        ends.append(as_point(hits[np.hypot(*(hits - at).T).argmin()]))
    fields = {"piece": piece.number, "from": ends[0], "to": ends[1]}
    yield Cure("A lead runs along the dark strip", (edit_of("split_piece", fields),))


def _cures(panel: Panel, findings: tuple[Finding, ...]) -> Iterator[Cure]:
    """Yield the cures that change the net; those that name a part which is gone are left out."""
    if findings[0].code is Code.BORDER_OPEN:
        every = dict.fromkeys(name for finding in findings for name in finding.cames)
        findings = (replace(findings[0], cames=tuple(every)),)
    seen: set[str] = set()
    for finding in findings:
        if not _known(panel, finding):
            continue
        for words, edits in _MAKERS.get(finding.code, _nothing)(panel, finding):
            if words in seen:
                continue
            seen.add(words)
            try:
                yield Cure(words, tuple(edit_of(kind, fields) for kind, fields in edits))
            except UsageFault:
                continue


Made = Iterator[tuple[str, list[tuple[str, Fields]]]]


def _nothing(panel: Panel, finding: Finding) -> Made:
    yield from ()


def _lead(panel: Panel, finding: Finding) -> Made:
    """Take out a lead that may be none, or draw it on."""
    if not finding.cames:
        return
    came = _came(panel, finding.cames[0])
    if finding.code is Code.FREE_END:
        yield from _going_on(panel, came)
    border = {"border": True} if came.border else {}
    yield f"Take out {came.id}", [("remove_lead", {"came": came.id, **border})]


def _going_on(panel: Panel, came: Came) -> Made:
    """Draw a lead on in its own direction to the next one it meets."""
    ends = {joint.id: joint for joint in panel.joints if joint.kind is JointKind.END}
    for joint, points in ((came.end, came.path), (came.start, came.path[::-1])):
        if joint not in ends:
            continue
        back = shapely.LineString(points[::-1]).interpolate(max(came.face_width_mm, 3.0))
        end, before = points[-1], np.asarray(back.coords[0])
        way = (end - before) / max(float(np.hypot(*(end - before))), 1e-6)
        far = math.hypot(panel.width_mm, panel.height_mm)
        ray = shapely.LineString((end + 0.5 * way, end + far * way))
        others = [c for c in panel.cames if c.id != came.id]
        met = shapely.intersection([shapely.LineString(c.path) for c in others], ray)
        hits = shapely.get_coordinates(met)
        if len(hits):
            to = hits[np.hypot(*(hits - end).T).argmin()]
            fields = {"from": as_point(end), "to": as_point(to), "width_mm": came.face_width_mm}
            yield f"{came.id} goes on to the next lead", [("add_lead", fields)]


def _border(panel: Panel, finding: Finding) -> Made:
    """Close the border between the free ends of leads that enclose no glass, or take them out."""
    cames = [_came(panel, name) for name in finding.cames]
    ends = _gap(panel, finding)
    if not cames:
        return
    if len(ends) == 2:
        a, b = ((joint.x_mm, joint.y_mm) for joint in ends)
        fields = {"from": a, "to": b, "width_mm": cames[0].face_width_mm}
        yield "Close the border", [("add_lead", fields)]
    elif len(ends) == 1:
        yield from _going_on(panel, cames[0])
    names = " and ".join(came.id for came in cames[:3])
    removed: list[tuple[str, Fields]] = [
        ("remove_lead", {"came": came.id, **({"border": True} if came.border else {})})
        for came in cames
    ]
    yield f"Take out {names}{' and others' if len(cames) > 3 else ''}", removed


def _gap(panel: Panel, finding: Finding) -> tuple[Joint, ...]:
    """Return the free ends between which a border is open, in the order of their ids.

    They are those of the finding's own leads, and where that is one, the free end nearest to it.
    """
    cames = [_came(panel, name) for name in finding.cames]
    ends = {joint.id: joint for joint in panel.joints if joint.kind is JointKind.END}
    named = {name for came in cames for name in (came.start, came.end) if name in ends}
    if len(named) == 1:
        (own,) = (ends[name] for name in named)
        others = [joint for joint in ends.values() if joint is not own]
        at = (own.x_mm, own.y_mm)
        nearest = sorted(others, key=lambda j: math.dist((j.x_mm, j.y_mm), at))
        named |= {joint.id for joint in nearest[:1]}
    return tuple(ends[name] for name in sorted(named))


def _corners(panel: Panel, finding: Finding) -> Made:
    """Draw a lead from the corner that points into the glass to another corner."""
    piece = _piece(panel, finding)
    if piece is None:
        return
    inward = _inward(piece)
    if finding.kind is Kind.INWARD_CORNERS and len(inward) >= 2:
        a, b = max(
            ((p, q) for k, (p, _) in enumerate(inward) for q, _ in inward[k + 1 :]),
            key=lambda pair: -math.dist(*pair),
        )
        yield "A lead runs between the corners", [("split_piece", _split(piece, a, b))]
        return
    for corner, ways in inward[:1]:
        ring = piece.outline.exterior.simplify(_CORNER_MM)
        others = [as_point(np.asarray(p)) for p in ring.coords[:-1]]
        seen = [p for p in others if _parts(corner, p, ways) and _inside(piece, corner, p)]
        for place in sorted(seen, key=lambda p: math.dist(p, corner)):
            far = math.dist(place, corner)
            words = (
                f"A lead runs {far:.0f} mm to the {_way(corner, place)}{_to_joint(panel, place)}"
            )
            yield words, [("split_piece", _split(piece, corner, place))]


def _parts(corner: Point, place: Point, ways: tuple[float, float]) -> bool:
    """Tell whether a lead from a corner to a place leaves no corner that points inward there.

    `ways` are the directions of the two sides of the corner in degrees; the glass lies to the left
    of the first.
    """
    if math.dist(corner, place) < 2.0 * _CORNER_MM:
        return False
    way = math.degrees(math.atan2(place[1] - corner[1], place[0] - corner[0]))
    first, second = (way - ways[0]) % 360.0, (ways[1] - way) % 360.0
    return max(first, second) < _INWARD_DEG and first + second < 360.0


def _split(piece: Piece, a: Point, b: Point) -> Fields:
    return {"piece": piece.number, "from": a, "to": b}


def _inside(piece: Piece, a: Point, b: Point) -> bool:
    line = shapely.LineString((a, b))
    return bool(piece.outline.buffer(_CORNER_MM).contains(line)) and bool(
        piece.outline.buffer(-_CORNER_MM / 2).intersection(line).length > 0.7 * line.length
    )


def _inward(piece: Piece) -> list[tuple[Point, tuple[float, float]]]:
    """Return the corners of a piece that point into its glass, sharpest first, with their sides.

    Of the sides the directions are given, anticlockwise through the glass.
    """
    ring = shapely.simplify(piece.outline.exterior, _CORNER_MM)
    points = np.asarray(ring.coords)[:-1]
    points = points if ring.is_ccw else points[::-1]
    before, after = np.roll(points, 1, axis=0) - points, np.roll(points, -1, axis=0) - points
    out = np.degrees(np.arctan2(after[:, 1], after[:, 0]))
    back = np.degrees(np.arctan2(before[:, 1], before[:, 0]))
    inside = (back - out) % 360.0
    order = [int(k) for k in np.argsort(-inside) if inside[k] >= _INWARD_DEG]
    return [(as_point(points[k]), (float(out[k]), float(back[k]))) for k in order]


def _to_joint(panel: Panel, place: Point) -> str:
    """Name the joint at a place, if there is one."""
    near = (j for j in panel.joints if math.dist((j.x_mm, j.y_mm), place) <= _CORNER_MM)
    return next((f", to {joint.id}" for joint in near), "")


def _way(a: Point, b: Point) -> str:
    dx, dy = b[0] - a[0], b[1] - a[1]
    if abs(dx) > abs(dy):
        return "right" if dx > 0 else "left"
    return "top" if dy > 0 else "bottom"


def _no_piece(panel: Panel, finding: Finding) -> Made:
    """Join a piece that is none with the neighbour behind the least sure lead."""
    piece = _piece(panel, finding)
    if piece is None:
        return
    around = [c for c in panel.cames if c.id in piece.cames and len(set(c.pieces)) == 2]
    beside: dict[int, list[Came]] = {}
    for came in around:
        (other,) = {*came.pieces} - {piece.number} or {piece.number}
        beside.setdefault(other, []).append(came)
    sure = {n: float(np.mean([c.confidence for c in cames])) for n, cames in beside.items()}
    for other in sorted(sure, key=lambda n: (sure[n], n))[:2]:
        numbers = sorted((piece.number, other))
        words = f"It is one piece with {other}"
        yield words, [("join_pieces", {"pieces": numbers})]


def _widths(panel: Panel, finding: Finding) -> Made:
    """Set the stock widths that come into question."""
    stocks = {came.stock: came.stock_mm for came in panel.cames}
    asked = [finding.names[name] for name in ("below", "above", "smallest", "largest")
             if name in finding.names]  # fmt: skip
    cames = [_came(panel, name) for name in finding.cames]
    if not asked and cames:
        now = cames[0].stock_mm
        larger = sorted((mm, name) for name, mm in stocks.items() if mm > now)
        asked = [cames[0].stock, *(name for _, name in larger[:1])]
    for name in asked:
        width = stocks.get(name) or parse_length(name)
        every: list[tuple[str, Fields]] = [
            ("set_width", {"came": came.id, "width_mm": width}) for came in cames
        ]
        yield f"{'The width is' if len(cames) == 1 else 'All are'} {name}", every


def _side(panel: Panel, finding: Finding) -> Made:
    """State the side on which the paper lay."""
    for side in ("inside", "outside"):
        yield f"The paper lay on the {side}", [("seen_from", {"side": side})]


_MAKERS: Mapping[Code, Callable[[Panel, Finding], Made]] = {
    Code.DOUBTFUL_LEAD: _lead,
    Code.BRIDGED_GAP: _lead,
    Code.FREE_END: _lead,
    Code.BORDER_OPEN: _border,
    Code.INWARD_CORNER: _corners,
    Code.SLIVER_PIECE: _no_piece,
    Code.SMALL_PIECE: _no_piece,
    Code.NO_GLASS_LEFT: _no_piece,
    Code.WIDTH_UNCERTAIN: _widths,
    Code.WIDTH_BETWEEN_STOCK: _widths,
    Code.SIDE_NOT_STATED: _side,
}


def _known(panel: Panel, finding: Finding) -> bool:
    """Tell whether all leads that a finding names are there."""
    return {came.id for came in panel.cames}.issuperset(finding.cames)


def _came(panel: Panel, name: str) -> Came:
    return next(came for came in panel.cames if came.id == name)


def _piece(panel: Panel, finding: Finding) -> Piece | None:
    number = finding.pieces[0] if finding.pieces else None
    return next((piece for piece in panel.pieces if piece.number == number), None)
