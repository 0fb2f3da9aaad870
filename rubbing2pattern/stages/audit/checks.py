"""What can be doubtful about a finished panel, one function for each kind of thing.

Every check yields findings with place, pieces, ids and figures.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.ops import substring

from rubbing2pattern.findings import Code, Finding, Kind, Point, Severity, finding_of
from rubbing2pattern.model import Came, Joint, JointKind, Panel, Piece
from rubbing2pattern.options.audit import AuditOptions
from rubbing2pattern.paneling.lines import leaving_deg, point_along


def check_side(panel: Panel) -> Iterator[Finding]:
    """Find a panel whose side (inside or outside) is not stated."""
    if panel.seen_from == "unstated":
        yield finding_of(Kind.SIDE_NOT_STATED)


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
            yield finding_of(
                Kind.DOUBTFUL_LEAD,
                middle,
                pieces=beside,
                cames=(came.id,),
                seen_share=came.seen_share,
                length_mm=came.length_mm,
                chance=came.confidence,
            )
        for low_mm, high_mm in came.gaps:
            at = point_along(came.path, 0.5 * (low_mm + high_mm) / came.length_mm)
            sure = came.confidence >= options.sure_confidence
            short = high_mm - low_mm < options.harmless_gap_mm
            part = substring(LineString(came.path), low_mm, high_mm)
            strays = bool(shapely.dwithin(off, part, options.same_doubt_mm).any())
            harmless = sure and short and not strays
            yield finding_of(
                Kind.BRIDGED_GAP,
                at,
                severity=Severity.NOTE if harmless else Severity.CHECK,
                pieces=beside,
                cames=(came.id,),
                joints=(came.start,),
                gap_mm=high_mm - low_mm,
                from_mm=low_mm,
            )


def check_widths(panel: Panel, options: AuditOptions) -> Iterator[Finding]:
    """Find uncertain widths: one finding for all cames of one width, at the longest of them."""
    groups: dict[str, list[Came]] = {}
    for came in panel.cames:
        if came.face_width_uncertainty_mm > options.width_uncertainty_mm:
            groups.setdefault(f"{came.face_width_mm:.1f}", []).append(came)
    for group in groups.values():
        group.sort(key=lambda came: -came.length_mm)
        most_mm = max(came.face_width_uncertainty_mm for came in group)
        yield finding_of(
            Kind.WIDTH_UNSURE,
            point_along(group[0].path, 0.5),
            pieces=sorted({n for came in group for n in came.pieces}),
            cames=[came.id for came in group],
            width_mm=group[0].face_width_mm,
            most_mm=most_mm,
        )


def check_joints(panel: Panel, options: AuditOptions) -> Iterator[Finding]:
    """Find doubtful joints, and leads that end freely inside a piece."""
    cames = {came.id: came for came in panel.cames}
    paths = np.array([LineString(came.path) for came in panel.cames], dtype=object)
    for joint in panel.joints:
        at = (joint.x_mm, joint.y_mm)
        around = sorted({n for name in joint.cames for n in cames[name].pieces})
        if joint.uncertainty_mm > options.joint_uncertainty_mm:
            yield finding_of(
                Kind.DOUBTFUL_JOINT,
                at,
                pieces=around,
                cames=joint.cames,
                joints=(joint.id,),
                off_mm=joint.uncertainty_mm,
            )
        if joint.kind is JointKind.END and around:
            came = cames[joint.cames[0]]
            ahead = _ahead(joint, came, panel.cames, paths, options.near_mm)
            yield finding_of(
                Kind.FREE_END,
                at,
                pieces=around,
                cames=(came.id, *(other.id for _, other in ahead)),
                joints=(joint.id,),
                short_mm=ahead[0][0] if ahead else None,
            )


def check_pieces(panel: Panel, options: AuditOptions) -> Iterator[Finding]:
    """Find pieces without glass, slivers, small pieces, and glass that falls apart.

    One finding for each piece, the gravest: no glass, in parts, sliver, small.
    """
    for piece in panel.pieces:
        kind, figures = _piece_doubt(panel, piece, options)
        if kind:
            yield finding_of(kind, piece.label_at, pieces=(piece.number,), **figures)


def check_parts(panel: Panel) -> Iterator[Finding]:
    """Find cames that do not enclose a piece, and parts that no lead connects with the rest."""
    for group in _connected([came for came in panel.cames if not came.pieces]):
        length_mm = sum(came.length_mm for came in group)
        names = [came.id for came in group]
        at = _loose_end(panel, set(names)) or point_along(group[0].path, 0.5)
        yield finding_of(Kind.BORDER_OPEN, at, cames=names, length_mm=length_mm)
    bordered = [g for g in _connected(panel.cames) if any(came.border for came in g)]
    bordered.sort(key=lambda g: (-_covered_mm2(panel, g), g[0].id))
    for group in bordered[1:]:
        numbers = sorted({n for came in group for n in came.pieces})
        at = next(piece.label_at for piece in panel.pieces if piece.number == numbers[0])
        area_mm2 = _covered_mm2(panel, group)
        yield finding_of(Kind.PART_HANGS_LOOSE, at, pieces=numbers, area_mm2=area_mm2)


def check_scale(panel: Panel, options: AuditOptions) -> Iterator[Finding]:
    """Find an uncertain scale and marks of the reference that lie off, unless reported before."""
    reported = {finding.code for finding in panel.findings}
    share = panel.scale.relative_uncertainty
    if share > options.scale_share and Code.SCALE_UNCERTAIN not in reported:
        longer_mm = max(panel.width_mm, panel.height_mm)
        yield finding_of(
            Kind.SCALE_UNCERTAIN,
            uncertain_share=share,
            uncertain_mm=share * longer_mm,
            length_mm=longer_mm,
        )
    if Code.REFERENCE_RESIDUAL in reported:
        return
    for mark in panel.scale.residuals:
        if abs(mark.residual_mm) > options.residual_mm:
            kind = Kind.MARK_OFF if mark.used else Kind.MARK_OFF_UNUSED
            yield finding_of(kind, mark=mark.name, off_mm=abs(mark.residual_mm))


def _piece_doubt(
    panel: Panel, piece: Piece, options: AuditOptions
) -> tuple[Kind | None, dict[str, Any]]:
    """Return the gravest doubt about a piece, None where there is none, and its figures."""
    across_mm, cut_mm2 = 2.0 * piece.label_radius_mm, piece.cut_area_mm2
    if piece.cut_outline.is_empty:
        figures = {"centre_mm2": piece.centre_area_mm2, "heart_mm": panel.heart_mm}
        return Kind.NO_GLASS_LEFT, figures
    parts = shapely.get_parts(piece.cut_outline)
    areas = sorted((float(p.area) for p in parts if p.area > options.split_area_mm2), reverse=True)
    if len(areas) > 1:
        figures = {"parts": len(areas), "largest_mm2": areas[0], "next_mm2": areas[1]}
        return Kind.GLASS_IN_PARTS, figures
    if piece.sight_outline.is_empty:
        return Kind.GLASS_COVERED, {"cut_mm2": cut_mm2}
    if across_mm < options.sliver_width_mm:
        return Kind.SLIVER_PIECE, {"across_mm": across_mm}
    if cut_mm2 < options.small_area_mm2:
        sides = {"width_mm": piece.rectangle.width_mm, "height_mm": piece.rectangle.height_mm}
        return Kind.SMALL_PIECE, {"cut_mm2": cut_mm2, **sides}
    return None, {}


def _ahead(
    joint: Joint, came: Came, cames: Sequence[Came], paths: np.ndarray, near_mm: float
) -> list[tuple[float, Came]]:
    """Return how far ahead of a free end the next lead lies, and which: none beyond `near_mm`."""
    at = np.array([joint.x_mm, joint.y_mm])
    inward_deg = leaving_deg(came.curve if came.start == joint.id else came.curve.reversed())
    ahead = -np.array([math.cos(math.radians(inward_deg)), math.sin(math.radians(inward_deg))])
    ray = LineString([at, at + near_mm * ahead])
    hits: list[tuple[float, int]] = [
        (float(shapely.distance(shapely.Point(at), shapely.intersection(ray, paths[k]))), k)
        for k in np.flatnonzero(shapely.intersects(ray, paths)).tolist()
        if cames[k].id != came.id
    ]
    return [(distance_mm, cames[k]) for distance_mm, k in sorted(hits)[:1]]


def _connected(cames: Sequence[Came]) -> list[list[Came]]:
    """Group cames that hang together by joints, in the order in which they come."""
    above: dict[str, str] = {}

    def highest(joint: str) -> str:
        while (next_up := above.setdefault(joint, joint)) != joint:
            above[joint] = joint = above[next_up]
        return joint

    for came in cames:
        above[highest(came.start)] = highest(came.end)
    groups: dict[str, list[Came]] = {}
    for came in cames:
        groups.setdefault(highest(came.start), []).append(came)
    return list(groups.values())


def _covered_mm2(panel: Panel, group: Sequence[Came]) -> float:
    numbers = {n for came in group for n in came.pieces}
    return sum(piece.centre_area_mm2 for piece in panel.pieces if piece.number in numbers)


def _loose_end(panel: Panel, names: set[str]) -> Point | None:
    ends = (j for j in panel.joints if j.kind is JointKind.END and j.cames[0] in names)
    return next(((j.x_mm, j.y_mm) for j in ends), None)
