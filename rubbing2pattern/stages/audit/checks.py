"""What can be doubtful about a finished panel, one function for each kind of thing.

Every check yields findings with place and pieces; messages are one sentence for the bench.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.ops import substring

from rubbing2pattern.findings import Code, Finding, Point, Severity
from rubbing2pattern.model import Came, Joint, JointKind, Panel, Piece
from rubbing2pattern.options.audit import AuditOptions
from rubbing2pattern.paneling.lines import leaving_deg, point_along


def check_side(panel: Panel) -> Iterator[Finding]:
    """Find a panel of which nobody says from which side it is seen."""
    if panel.seen_from == "unstated":
        text = (
            "It is not stated on which side of the window the paper lay, so the pattern may be the "
            "mirror image of what is meant; look at the window and trace again with --seen-from "
            "inside or --seen-from outside."
        )
        yield Finding(Code.SIDE_NOT_STATED, Severity.CHECK, text)


def check_leads(panel: Panel, options: AuditOptions) -> Iterator[Finding]:
    """Find leads that may be none, and bridged gaps.

    A gap is a note where the lead is sure, the gap is short, and nothing says that the lead may lie
    off its place there.
    """
    places = [f.at for f in panel.findings if f.code is Code.LEAD_OFF and f.at]
    off = shapely.points(np.array(places, dtype=np.float64).reshape(-1, 2))
    for came in panel.cames:
        middle, beside = point_along(came.path, 0.5), tuple(sorted(came.pieces))
        if came.confidence < options.least_confidence:
            text = (
                f"{came.id} is seen on {came.seen_share:.0%} of its {came.length_mm:.0f} mm and is "
                f"a lead with a probability of {came.confidence:.2f}; without it "
                f"{_without(beside)}; look whether it is there."
            )
            yield Finding(Code.DOUBTFUL_LEAD, Severity.CHECK, text, middle, beside)
        for low_mm, high_mm in came.gaps:
            at = point_along(came.path, 0.5 * (low_mm + high_mm) / came.length_mm)
            text = (
                f"{came.id} is not seen for {high_mm - low_mm:.0f} mm, {low_mm:.0f} mm from "
                f"{came.start}, and is drawn on through the gap."
            )
            sure = came.confidence >= options.sure_confidence
            short = high_mm - low_mm < options.harmless_gap_mm
            part = substring(LineString(came.path), low_mm, high_mm)
            strays = bool(shapely.dwithin(off, part, options.same_doubt_mm).any())
            harmless = sure and short and not strays
            severity = Severity.NOTE if harmless else Severity.CHECK
            yield Finding(Code.BRIDGED_GAP, severity, text, at, beside)


def _without(beside: tuple[int, ...]) -> str:
    """Say what the panel would be without a lead."""
    if len(beside) == 2:
        return f"pieces {beside[0]} and {beside[1]} are one"
    return "the border is open there" if len(beside) == 1 and beside else "nothing else changes"


def check_widths(panel: Panel, options: AuditOptions) -> Iterator[Finding]:
    """Find uncertain widths: one finding for all cames of one width, at the longest of them."""
    groups: dict[str, list[Came]] = {}
    for came in panel.cames:
        if came.face_width_uncertainty_mm > options.width_uncertainty_mm:
            groups.setdefault(f"{came.face_width_mm:.1f}", []).append(came)
    for width, group in groups.items():
        group.sort(key=lambda came: -came.length_mm)
        most_mm = max(came.face_width_uncertainty_mm for came in group)
        several = len(group) > 1
        names = _listed([came.id for came in group])
        text = (
            f"The face width of {names}, {width} mm, is uncertain by "
            f"{'up to ' if several else ''}{most_mm:.1f} mm; measure "
            f"{'them' if several else 'it'} on the panel."
        )
        beside = tuple(sorted({n for came in group for n in came.pieces}))
        at = point_along(group[0].path, 0.5)
        yield Finding(Code.WIDTH_UNCERTAIN, Severity.CHECK, text, at, beside)


def check_joints(panel: Panel, options: AuditOptions) -> Iterator[Finding]:
    """Find doubtful joints, and leads that end freely inside a piece."""
    cames = {came.id: came for came in panel.cames}
    paths = np.array([LineString(came.path) for came in panel.cames], dtype=object)
    for joint in panel.joints:
        at = (joint.x_mm, joint.y_mm)
        around = sorted({n for name in joint.cames for n in cames[name].pieces})
        if joint.uncertainty_mm > options.joint_uncertainty_mm:
            text = (
                f"{joint.id}, where {_listed(joint.cames)} {_meet(joint)}, may lie "
                f"{joint.uncertainty_mm:.1f} mm off; measure it on the panel."
            )
            yield Finding(Code.DOUBTFUL_JOINT, Severity.CHECK, text, at, tuple(around))
        if joint.kind is JointKind.END and around:
            came = cames[joint.cames[0]]
            text = (
                f"{came.id} ends freely inside piece {_numbers(around)}"
                f"{_short_of(joint, came, panel.cames, paths, options.near_mm)}; look whether it "
                "is a strap lead or goes on."
            )
            yield Finding(Code.FREE_END, Severity.CHECK, text, at, tuple(around))


def check_pieces(panel: Panel, options: AuditOptions) -> Iterator[Finding]:
    """Find pieces without glass, slivers, small pieces, and glass that falls apart.

    One finding for each piece, the gravest: no glass, in parts, sliver, small.
    """
    for piece in panel.pieces:
        found = _piece_finding(panel, piece, options)
        if found:
            code, severity, text = found
            yield Finding(code, severity, text, piece.label_at, (piece.number,))


def check_parts(panel: Panel) -> Iterator[Finding]:
    """Find cames that enclose nothing, and parts of the panel that hang on no lead of the rest."""
    for group in _connected([came for came in panel.cames if not came.pieces]):
        length_mm = sum(came.length_mm for came in group)
        names = [came.id for came in group]
        text = (
            f"{_listed(names)} ({length_mm:.0f} mm) {'encloses' if len(group) == 1 else 'enclose'} "
            "no glass: the border is not closed there, and pieces may be missing."
        )
        at = _loose_end(panel, set(names)) or point_along(group[0].path, 0.5)
        yield Finding(Code.BORDER_OPEN, Severity.WRONG, text, at)
    bordered = [g for g in _connected(panel.cames) if any(came.border for came in g)]
    bordered.sort(key=lambda g: (-_covered_mm2(panel, g), g[0].id))
    for group in bordered[1:]:
        numbers = sorted({n for came in group for n in came.pieces})
        text = (
            f"Piece {_numbers(numbers)} ({_covered_mm2(panel, group) / 100.0:.0f} cm²) "
            "hangs on no lead of the rest of the panel; look for a missing lead."
        )
        at = next(piece.label_at for piece in panel.pieces if piece.number == numbers[0])
        yield Finding(Code.SEPARATE_PARTS, Severity.CHECK, text, at, tuple(numbers))


def check_scale(panel: Panel, options: AuditOptions) -> Iterator[Finding]:
    """Find an uncertain scale and marks of the reference that lie off; told once, by whoever."""
    told = {finding.code for finding in panel.findings}
    share = panel.scale.relative_uncertainty
    if share > options.scale_share and Code.SCALE_UNCERTAIN not in told:
        longer_mm = max(panel.width_mm, panel.height_mm)
        text = (
            f"All lengths are uncertain by {100.0 * share:.2f} %, {share * longer_mm:.1f} mm over "
            f"the {longer_mm:.0f} mm of the panel; measure one length on the panel."
        )
        yield Finding(Code.SCALE_UNCERTAIN, Severity.CHECK, text)
    if Code.REFERENCE_RESIDUAL in told:
        return
    for mark in panel.scale.residuals:
        if abs(mark.residual_mm) > options.residual_mm:
            use = "and was used" if mark.used else "and was not used"
            text = (
                f"{mark.name} of the reference lies {abs(mark.residual_mm):.1f} mm off the fit "
                f"{use}; measure it again."
            )
            yield Finding(Code.REFERENCE_RESIDUAL, Severity.CHECK, text)


def _piece_finding(
    panel: Panel, piece: Piece, options: AuditOptions
) -> tuple[Code, Severity, str] | None:
    number, across_mm = piece.number, 2.0 * piece.label_radius_mm
    if piece.cut_outline.is_empty:
        text = (
            f"Piece {number} ({piece.centre_area_mm2:.0f} mm² to the middle of its leads) leaves "
            f"no glass between hearts of {panel.heart_mm:.1f} mm."
        )
        return Code.NO_GLASS_LEFT, Severity.WRONG, text
    parts = shapely.get_parts(piece.cut_outline)
    areas = sorted((float(p.area) for p in parts if p.area > options.split_area_mm2), reverse=True)
    if len(areas) > 1:
        sizes = " and ".join(f"{area:.0f} mm²" for area in areas[:2])
        text = (
            f"Piece {number} narrows to nothing between its leads: its glass falls into "
            f"{len(areas)} parts, the largest {sizes}."
        )
        return Code.SLIVER_PIECE, Severity.CHECK, text
    if piece.sight_outline.is_empty:
        text = (
            f"Piece {number} ({piece.cut_area_mm2:.0f} mm² of glass) is wholly covered by the "
            "leaves of its leads."
        )
        return Code.NO_GLASS_LEFT, Severity.CHECK, text
    if across_mm < options.sliver_width_mm:
        text = (
            f"Piece {number} is a sliver: its glass is {across_mm:.1f} mm across where it is "
            "widest; look whether both leads are there."
        )
        return Code.SLIVER_PIECE, Severity.CHECK, text
    if piece.cut_area_mm2 < options.small_area_mm2:
        text = (
            f"Piece {number} is very small: {piece.cut_area_mm2:.0f} mm² of glass, "
            f"{piece.rectangle.width_mm:.1f} by {piece.rectangle.height_mm:.1f} mm; look whether "
            "it is glass."
        )
        return Code.SMALL_PIECE, Severity.CHECK, text
    return None


def _short_of(
    joint: Joint, came: Came, cames: Sequence[Came], paths: np.ndarray, near_mm: float
) -> str:
    """Say which lead stands in the way of a free end, when one does within `near_mm`."""
    at = np.array([joint.x_mm, joint.y_mm])
    inward_deg = leaving_deg(came.curve if came.start == joint.id else came.curve.reversed())
    ahead = -np.array([math.cos(math.radians(inward_deg)), math.sin(math.radians(inward_deg))])
    ray = LineString([at, at + near_mm * ahead])
    hits: list[tuple[float, int]] = [
        (float(shapely.distance(shapely.Point(at), shapely.intersection(ray, paths[k]))), k)
        for k in np.flatnonzero(shapely.intersects(ray, paths)).tolist()
        if cames[k].id != came.id
    ]
    if not hits:
        return ""
    distance_mm, k = min(hits)
    return f", {distance_mm:.0f} mm short of {cames[k].id}"


def _connected(cames: Sequence[Came]) -> list[list[Came]]:
    """Group cames that hang together by joints, in the order in which they come."""
    group_of: dict[str, int] = {}
    groups: dict[int, list[Came]] = {}
    for key, came in enumerate(cames):
        merged = [came]
        for old in sorted({group_of[j] for j in (came.start, came.end) if j in group_of}):
            merged = groups.pop(old) + merged
        groups[key] = merged
        group_of |= {j: key for c in merged for j in (c.start, c.end)}
    order = {came.id: k for k, came in enumerate(cames)}
    found = [sorted(group, key=lambda c: order[c.id]) for group in groups.values()]
    return sorted(found, key=lambda group: order[group[0].id])


def _covered_mm2(panel: Panel, group: Sequence[Came]) -> float:
    numbers = {n for came in group for n in came.pieces}
    return sum(piece.centre_area_mm2 for piece in panel.pieces if piece.number in numbers)


def _loose_end(panel: Panel, names: set[str]) -> Point | None:
    ends = (j for j in panel.joints if j.kind is JointKind.END and j.cames[0] in names)
    return next(((j.x_mm, j.y_mm) for j in ends), None)


def _meet(joint: Joint) -> str:
    return "ends" if joint.kind is JointKind.END else "meet" if len(joint.cames) > 1 else "closes"


def _listed(names: Sequence[str]) -> str:
    shown = list(names[:4])
    if len(names) > 4:
        return f"{', '.join(shown)} and {len(names) - 4} more"
    return " and ".join(filter(None, [", ".join(shown[:-1]), shown[-1]]))


def _numbers(numbers: Sequence[int]) -> str:
    return _listed([str(number) for number in numbers])
