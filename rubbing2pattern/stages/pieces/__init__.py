"""From the clean net to the numbered panel: pieces with outlines, joints and cames with ids."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import Came, Joint, Panel, Piece, Profile
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.paneling.crossings import planar
from rubbing2pattern.paneling.lines import LeadLines, in_fixed_order
from rubbing2pattern.paneling.measures import (
    area_uncertainty_mm2,
    label_places,
    smallest_rectangle,
)
from rubbing2pattern.paneling.meetings import joint_kinds
from rubbing2pattern.paneling.openings import OUTSIDE, Division, centre_shapes, outer_shape
from rubbing2pattern.paneling.outlines import Shapes, inner_outlines, largest_part, polygons_of
from rubbing2pattern.paneling.reading_order import reading_order
from rubbing2pattern.paneling.walk import leaving_joint
from rubbing2pattern.reading import LeadNet
from rubbing2pattern.stages.pieces.caliper_widths import calibrated
from rubbing2pattern.stages.pieces.came_widths import FaceWidths, face_widths, width_findings

LEAST_HEIGHT_MM = 0.1
"""Height of shapes without one, so that a ratio of heights exists."""


def cut_pieces(net: LeadNet, options: PieceOptions) -> Panel:
    """Divide a net of lead lines into numbered pieces of glass.

    Joints, cames and pieces are numbered in reading order by rows from the top, whatever order they
    have in the net. The panel carries the net's findings, those about widths and stock, and those
    about lead lines that cross where there is no joint.

    Parameters
    ----------
    net : clean net, levelled, with face widths where they could be measured.
    options : heart, clearance, stock widths and what else shapes the pieces.

    Raises
    ------
    NoLeadFound
        When the cames enclose no piece at all.
    """
    net, lines, division, crossed = planar(in_fixed_order(net, options.flatness_mm), options)
    if not division.openings:
        length_mm = sum(came.curve.length_mm for came in net.cames)
        raise NoLeadFound(
            f"the {len(net.cames)} leads found ({length_mm:.0f} mm in all) enclose no piece of "
            "glass: the rubbing must show the whole border; see the options of finding lead"
        )
    centre, mended = _valid(centre_shapes(division, lines), options.crossed_area_mm2)
    draft = _Draft(net, lines, division, centre, face_widths(net, options), options)
    settled: tuple[Finding, ...] = ()
    if options.calipers:
        net, settled = calibrated(net, lines, draft.ids()[1], options)
        draft = replace(draft, net=net, widths=face_widths(net, options))
    glass = draft.glass()
    order = reading_order(glass.labels, _heights(centre), options.row_share)
    number = {opening: n for n, opening in enumerate(order, start=1)}
    joint_ids, came_ids = draft.ids()
    cames = tuple(draft.came(c, came_ids, joint_ids, number) for c in came_ids)
    return draft.panel(
        joints=draft.joints(joint_ids, came_ids),
        cames=cames,
        pieces=tuple(draft.piece(k, number[k], glass, came_ids) for k in order),
        findings=(
            *net.findings,
            *crossed,
            *mended,
            *settled,
            *draft.width_findings(cames, came_ids),
        ),
    )


@dataclass(frozen=True, slots=True)
class _Glass:
    """Outlines and labels, one for each opening; and what the areas of all depend on."""

    cut: Shapes
    sight: Shapes
    labels: Array
    radii: Array
    leaves: Sequence[int]
    joint_uncertainty_mm: Array


@dataclass(frozen=True, slots=True)
class _Draft:
    """All that the numbered panel is made from; openings and cames still by index."""

    net: LeadNet
    lines: LeadLines
    division: Division
    centre: Shapes
    widths: FaceWidths
    options: PieceOptions

    def glass(self) -> _Glass:
        """Make the outlines of the glass and find the places of its numbers."""
        cut_half = np.full(len(self.lines.paths), self.options.cut_half_mm)
        sight_half = np.maximum(self.widths.width_mm / 2.0, self.options.cut_half_mm)
        around = (self.centre, self.division.openings, self.lines)
        cut, sight = (inner_outlines(*around, half) for half in (cut_half, sight_half))
        roomy = [c if not s.is_empty else b for b, s, c in zip(self.centre, cut, cut, strict=True)]
        parts = np.array([largest_part(shape) for shape in roomy], dtype=object)
        labels, radii = label_places(
            parts, self.options.label_tolerance_mm, self.options.central_share
        )
        for k in np.flatnonzero(np.isnan(labels[:, 0])):
            labels[k] = self.lines.paths[self.division.openings[k].shell[0] >> 1][0]
        unsure = np.array([joint.uncertainty_mm for joint in self.net.joints])
        return _Glass(cut, sight, labels, radii, leaving_joint(self.lines), unsure)

    def ids(self) -> tuple[dict[int, str], dict[int, str]]:
        """Return the ids of joints and cames by index, both in reading order."""
        typical = float(np.median(_heights(self.centre)))
        middles = np.array(self.lines.middles_mm)
        joints, cames = (
            reading_order(at, np.full(len(at), typical), self.options.row_share)
            for at in (self.lines.joints_mm, middles)
        )
        return (
            {j: f"J{n}" for n, j in enumerate(joints, start=1)},
            {c: f"C{n}" for n, c in enumerate(cames, start=1)},
        )

    def joints(self, ids: dict[int, str], came_ids: dict[int, str]) -> tuple[Joint, ...]:
        """Return the numbered joints."""
        kinds = joint_kinds(self.net, self.options.through_deg, self.options.broken_deg)
        meeting: dict[int, list[str]] = {j: [] for j in ids}
        for c, name in came_ids.items():
            for j in dict.fromkeys((self.net.cames[c].start, self.net.cames[c].end)):
                meeting[j].append(name)
        return tuple(
            Joint(
                name,
                float(self.lines.joints_mm[j, 0]),
                float(self.lines.joints_mm[j, 1]),
                kinds[j],
                self.net.joints[j].uncertainty_mm,
                tuple(meeting[j]),
            )
            for j, name in ids.items()
        )

    def came(
        self, c: int, ids: dict[int, str], joint_ids: dict[int, str], number: dict[int, int]
    ) -> Came:
        """Return one numbered came."""
        drawn = self.net.cames[c]
        sides = self.division.left[2 * c : 2 * c + 2]
        pieces = dict.fromkeys(number[k] for k in sides if k != OUTSIDE)
        width_mm = float(self.widths.width_mm[c])
        choice = self.widths.choices[c]
        shown_mm = drawn.shown_width_mm
        return Came(
            id=ids[c],
            start=joint_ids[drawn.start],
            end=joint_ids[drawn.end],
            curve=drawn.curve,
            path=self.lines.paths[c],
            strip=drawn.strip,
            face_width_mm=width_mm,
            face_width_uncertainty_mm=float(self.widths.uncertainty_mm[c]),
            shown_width_mm=shown_mm if np.isfinite(shown_mm) else width_mm,
            stock=choice.nearest.name,
            stock_mm=choice.nearest.width_mm,
            border=sides.count(OUTSIDE) == 1,
            profile=Profile(drawn.profile),
            seen_share=drawn.seen_share,
            contrast=drawn.contrast,
            confidence=drawn.confidence,
            gaps=drawn.gaps,
            pieces=tuple(pieces),
        )

    def piece(self, k: int, number: int, glass: _Glass, came_ids: dict[int, str]) -> Piece:
        """Return one numbered piece."""
        opening, options = self.division.openings[k], self.options
        around = (opening.shell, *opening.holes)
        uncertainty_mm2 = area_uncertainty_mm2(
            around,
            float(self.centre[k].area),
            self.lines,
            glass.leaves,
            glass.joint_uncertainty_mm,
            self.net.scale.relative_uncertainty,
            options.line_uncertainty_mm,
            options.steady_mm,
        )
        named = [*(s >> 1 for walk in around for s in walk), *opening.straps]
        return Piece(
            number=number,
            outline=self.centre[k],
            cut_outline=glass.cut[k],
            sight_outline=glass.sight[k],
            label_at=(float(glass.labels[k, 0]), float(glass.labels[k, 1])),
            label_radius_mm=float(glass.radii[k]),
            rectangle=smallest_rectangle(glass.cut[k]),
            cames=tuple(dict.fromkeys(came_ids[c] for c in named)),
            area_uncertainty_mm2=uncertainty_mm2,
        )

    def width_findings(
        self, cames: Sequence[Came], came_ids: dict[int, str]
    ) -> tuple[Finding, ...]:
        """Return the findings about widths and stock."""
        order = np.array(list(came_ids))
        widths = FaceWidths(
            self.widths.width_mm[order],
            self.widths.uncertainty_mm[order],
            self.widths.measured[order],
            tuple(self.widths.choices[c] for c in order),
        )
        places = [self.lines.middles_mm[c] for c in order]
        return width_findings(cames, widths, places, 2.0 * self.options.cut_half_mm, self.options)

    def panel(
        self,
        joints: tuple[Joint, ...],
        cames: tuple[Came, ...],
        pieces: tuple[Piece, ...],
        findings: tuple[Finding, ...],
    ) -> Panel:
        """Put the numbered panel together."""
        outline = _outline(self.division, self.lines, self.centre)
        x_min, y_min, x_max, y_max = outline.bounds
        outer_width_mm, outer_height_mm = _outer_size(cames)
        return Panel(
            name="panel",
            seen_from="unstated",
            joints=joints,
            cames=cames,
            pieces=pieces,
            outline=outline,
            width_mm=x_max - x_min,
            height_mm=y_max - y_min,
            outer_width_mm=outer_width_mm,
            outer_height_mm=outer_height_mm,
            heart_mm=self.options.heart_mm,
            clearance_mm=self.options.clearance_mm,
            scale=self.net.scale,
            placement=self.net.placement,
            level_angle_deg=0.0 - self.net.placement.angle_deg,
            findings=findings,
        )


def _valid(shapes: Shapes, reported_mm2: float) -> tuple[Shapes, tuple[Finding, ...]]:
    """Return valid polygons; a piece whose own lead lines cross keeps its largest part."""
    mended = shapes.copy()
    findings = []
    for k in np.flatnonzero(~shapely.is_valid(shapes)):
        parts = polygons_of(shapely.make_valid(shapes[k], method="structure"))
        mended[k] = largest_part(parts)
        lost = parts.difference(mended[k])
        if lost.area > reported_mm2:
            at = lost.representative_point()
            findings.append(finding_of(Kind.PIECE_CROSSED, (at.x, at.y), lost_mm2=lost.area))
    return mended, tuple(findings)


def _heights(shapes: Shapes) -> Array:
    bounds = shapely.bounds(shapes)
    return np.asarray(np.fmax(bounds[:, 3] - bounds[:, 1], LEAST_HEIGHT_MM))


def _outline(division: Division, lines: LeadLines, shapes: Shapes) -> Polygon | MultiPolygon:
    outline = outer_shape(division, lines)
    return outline if outline.is_valid else polygons_of(shapely.union_all(shapes))


def _outer_size(cames: Sequence[Came]) -> tuple[float, float]:
    """Return width and height to the outer edges of the border leads, round at their ends."""
    border = [came for came in cames if came.border]
    low = np.min([came.path.min(axis=0) - came.face_width_mm / 2.0 for came in border], axis=0)
    high = np.max([came.path.max(axis=0) + came.face_width_mm / 2.0 for came in border], axis=0)
    return float(high[0] - low[0]), float(high[1] - low[1])
