"""Bring two papers that were joined out of register back into it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.geometry.curves import as_point, running_length
from rubbing2pattern.geometry.frame import Array, Join
from rubbing2pattern.joining.courses import courses_of
from rubbing2pattern.joining.jogs import jogs_of
from rubbing2pattern.joining.motion import Motion, motion_of
from rubbing2pattern.joining.seam import Seam
from rubbing2pattern.joining.seam_tracks import crossings_of, settled, tracks_beside
from rubbing2pattern.joining.search import seams_of
from rubbing2pattern.options.joining import JoiningOptions
from rubbing2pattern.reading import LeadMap, RawNet, Rubbing

_ROUNDS = 5
"""Turns of motion and seam, each found with the other known."""


@dataclass(frozen=True, slots=True)
class Found:
    """A seam with the motion seen beyond it."""

    seam: Seam
    motion: Motion


def rejoined(
    net: RawNet, lead: LeadMap, rubbing: Rubbing, options: JoiningOptions | None = None
) -> Rubbing | None:
    """Return the rubbing with both papers in register, or None where no join is to be seen.

    Every lead that crosses the join of two papers that slipped has a jog there, and all jogs are
    one shift and turn. The half with less lead is moved. The result carries a finding.
    """
    options = options or JoiningOptions()
    if not net.paths or rubbing.warp.join is not None:
        return None
    found = found_join(net, lead, rubbing, options)
    if found is None:
        return None
    join = _join(found, net)
    warp = replace(rubbing.warp, join=join)
    sheet = shapely.box(*rubbing.bounds_mm)
    return replace(
        rubbing,
        warp=warp,
        bounds_mm=_moved(sheet, join).bounds,
        paper=None if rubbing.paper is None else _moved(rubbing.paper, join),
        findings=(
            *(_finding_moved(f, join) for f in rubbing.findings),
            _join_finding(found, join, options),
        ),
    )


def found_join(
    net: RawNet, lead: LeadMap, rubbing: Rubbing, options: JoiningOptions
) -> Found | None:
    """Find the seam and the motion beyond it.

    Rules:

    1. the map proposes a few seams: strips in which the jogs of all leads are one motion;
    2. each is measured in the picture, and moved to where the leads make their step;
    3. the best is believed when its evidence is strong, nearly all leads agree, and the shift is
       more than the play of paper and lead, and at most the greatest jog that is looked for.
    """
    places = np.vstack(net.paths)
    about = 0.5 * (places.min(axis=0) + places.max(axis=0))
    seams = seams_of(jogs_of(courses_of(net, lead, options), options), about, options)  # rule 1
    best: Found | None = None
    for seam in seams:
        found = _measured(net, lead, rubbing, seam, about, options)  # rule 2
        if found and (best is None or found.motion.evidence > best.motion.evidence):
            best = found
    return best if best and _believed(best, about, options) else None  # rule 3


def _measured(
    net: RawNet,
    lead: LeadMap,
    rubbing: Rubbing,
    seam: Seam,
    about: Array,
    options: JoiningOptions,
) -> Found | None:
    tracks = tracks_beside(net, lead, rubbing, seam, options)
    best: Found | None = None
    for k in range(_ROUNDS):
        motion = motion_of(crossings_of(tracks, seam, options), seam.nearest(about), options)
        if motion is None:
            return best
        if best is None or motion.evidence > _ABOUT_AS_GOOD * best.motion.evidence:
            best = Found(seam, motion)
        if k < _ROUNDS - 1:
            seam = settled(tracks, seam, motion, options)
    return best


_ABOUT_AS_GOOD = 0.85
"""The seam where the leads step is preferred, though another may have a little more evidence."""


def _believed(found: Found, about: Array, options: JoiningOptions) -> bool:
    motion = found.motion
    shift = float(np.hypot(*motion.at(found.seam.nearest(about)[None])[0]))
    against = motion.count - motion.agree
    return (
        motion.evidence >= options.evidence
        and motion.jog >= 2
        and against <= options.against * motion.count
        and options.least_mm <= shift <= options.most_mm
    )


def _join(found: Found, net: RawNet) -> Join:
    """Return the join that moves the half with less lead back."""
    seam, motion = found.seam, found.motion
    length = np.array([running_length(p)[-1] for p in net.paths])
    side = np.array([np.mean(seam.beyond_mm(p) > 0) for p in net.paths])
    beyond = float((length * side).sum()) <= float((length * (1.0 - side)).sum())
    at = seam.nearest(motion.about_mm)
    moved = motion.at(at[None])[0] * (-1.0 if beyond else 1.0)
    turn = float(np.degrees(motion.turn_rad)) * (-1.0 if beyond else 1.0)
    normal_deg = seam.normal_deg + (0.0 if beyond else 180.0)
    return Join(as_point(at), normal_deg, as_point(moved), turn)


def _moved(sheet: shapely.Polygon, join: Join) -> shapely.Polygon:
    """Return what both halves of an outline cover in register, with the strip between them."""
    x_min, y_min, x_max, y_max = sheet.bounds
    far = 2.0 * float(np.hypot(x_max - x_min, y_max - y_min))
    seam = Seam(join.at_mm, join.normal_deg)
    ends = np.array([np.add(join.at_mm, t * seam.along) for t in (-far, far)])
    half = shapely.Polygon([*ends, *(ends[::-1] + far * seam.normal)])
    moving = sheet.intersection(half)
    moved = shapely.transform(moving, join.motion.apply)
    rim = sheet.intersection(shapely.LineString(ends))
    strip = shapely.union_all([rim, shapely.transform(rim, join.motion.apply)]).convex_hull
    whole = shapely.union_all([sheet.difference(half), moved, strip], grid_size=1e-6)
    parts = shapely.get_parts(whole)
    return shapely.Polygon(parts[int(np.argmax(shapely.area(parts)))].exterior)


def _finding_moved(finding: Finding, join: Join) -> Finding:
    if finding.at is None:
        return finding
    return finding.moved(as_point(join.to_register([finding.at])[0]))


def _join_finding(found: Found, join: Join, options: JoiningOptions) -> Finding:
    """Say which half was moved, how far, what the leads do not show, and what to measure."""
    seam = Seam(join.at_mm, join.normal_deg)
    shift = np.array(join.shift_mm)
    x, y = seam.normal
    part = ("right" if x > 0 else "left") if abs(x) >= abs(y) else ("upper" if y > 0 else "lower")
    kind = Kind.JOINED_DOWN if abs(x) >= abs(y) else Kind.JOINED_ACROSS
    doubt = found.motion.spread_at(np.array(join.at_mm), seam.normal)
    return finding_of(
        kind,
        as_point(join.to_register([join.at_mm])[0]),
        side=part,
        moved_mm=np.hypot(*shift),
        turned_deg=abs(join.turn_deg) if abs(join.turn_deg) >= _REPORTED_DEG else None,
        unsure_mm=doubt if doubt > options.reported_mm else None,
    )


_REPORTED_DEG = 0.02
"""A third of a millimetre in a metre."""
