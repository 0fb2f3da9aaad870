"""Turning a net upright: straight border sides along the axes, lower left corner at (0, 0)."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import shapely

from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.geometry.frame import Array, Placement
from rubbing2pattern.options.level import LevelOptions
from rubbing2pattern.paneling.enclosed import enclosed
from rubbing2pattern.paneling.lines import lead_lines
from rubbing2pattern.paneling.openings import NotPlanarError, divide
from rubbing2pattern.paneling.walk import walk_points
from rubbing2pattern.reading import LeadNet
from rubbing2pattern.stages.level.border import BorderSide, straight_sides, turn_of_sides_deg


def level(net: LeadNet, options: LevelOptions) -> LeadNet:
    """Turn and shift a net into the frame of the panel.

    Rules:

    1. The border is found from the net itself: whatever has the outside on its left.
    2. Its straight sides decide the turn together; sides that no turn within the limit could bring
       near an axis are left out.
    3. Without a straight side (quatrefoil, roundel), or when the turn would be more than
       `most_turn_deg`, the net is not turned, and a finding says so.
    4. The lower left corner of the bounding box of the outer centre outline comes to (0, 0); leads
       that reach out beyond the border (a bar, a tie) do not count.

    Parameters
    ----------
    net : clean net in any position.
    options : what is a straight side, how far a net may be turned.

    Raises
    ------
    NoLeadFound
        When the cames enclose nothing.
    """
    outlines = _outer_outlines(net, options.flatness_mm)
    sides = [side for outline in outlines for side in straight_sides(outline, options)]
    within_deg = options.most_turn_deg + options.reach_deg
    near = [side for side in sides if abs(side.off_axis_deg) <= within_deg]  # rule 2
    off_deg = turn_of_sides_deg(near, options) if near else math.inf
    turns = abs(off_deg) <= options.most_turn_deg  # rule 3
    turn_deg = -off_deg if turns else 0.0
    turned = np.vstack([Placement(turn_deg).apply(outline) for outline in outlines])
    left, low = turned.min(axis=0)
    levelled = _placed(net, Placement(turn_deg, -float(left), -float(low)))
    if turns:
        return levelled
    return replace(levelled, findings=(*levelled.findings, _not_levelled(sides, off_deg, options)))


def compose(first: Placement, then: Placement) -> Placement:
    """Return the motion that does `first` and `then` one after the other."""
    dx, dy = then.apply(((first.dx_mm, first.dy_mm),))[0]
    return Placement(first.angle_deg + then.angle_deg, float(dx), float(dy))


def _outer_outlines(net: LeadNet, flatness_mm: float) -> list[Array]:
    lines = lead_lines(net, flatness_mm)
    try:
        outer = divide(lines).outer
    except NotPlanarError:
        # Cutting pieces will settle crossings; what the leads enclose serves to level by.
        whole = shapely.get_parts(enclosed(lines.paths))
        return [shapely.get_coordinates(part.exterior) for part in whole]
    if not outer:
        raise NoLeadFound(
            f"the {len(net.cames)} leads found enclose no piece of glass: the rubbing must show "
            "the whole border; see the options of finding lead"
        )
    return [walk_points(walk, lines.paths) for walk in outer]


def _placed(net: LeadNet, placement: Placement) -> LeadNet:
    places = placement.apply([(j.x_mm, j.y_mm) for j in net.joints])
    joints = tuple(
        replace(joint, x_mm=float(x), y_mm=float(y))
        for joint, (x, y) in zip(net.joints, places, strict=True)
    )
    cames = tuple(replace(came, curve=came.curve.placed(placement)) for came in net.cames)
    return replace(
        net,
        joints=joints,
        cames=cames,
        placement=compose(net.placement, placement),
        findings=tuple(_moved(finding, placement) for finding in net.findings),
    )


def _moved(finding: Finding, placement: Placement) -> Finding:
    if finding.at is None:
        return finding
    x, y = placement.apply((finding.at,))[0]
    return finding.moved((float(x), float(y)))


def _not_levelled(sides: list[BorderSide], off_deg: float, options: LevelOptions) -> Finding:
    if math.isfinite(off_deg):
        most_deg = options.most_turn_deg
        return finding_of(Kind.SIDES_OFF_AXES, off_deg=abs(off_deg), most_deg=most_deg)
    return finding_of(Kind.SIDES_NEAR_NO_AXIS if sides else Kind.NO_STRAIGHT_SIDE)
