"""What must be known when a comparison is read: sides, turns, scales, names."""

from __future__ import annotations

import math
from collections.abc import Iterator

import shapely

from rubbing2pattern.comparing.registering import Registration
from rubbing2pattern.comparing.rigid import Motion
from rubbing2pattern.model import Panel
from rubbing2pattern.options.compare import CompareOptions


def ways_to_try(before: Panel, after: Panel) -> tuple[bool, ...]:
    """Return whether `after` is to be mirrored; both when a side is not stated."""
    sides = (before.seen_from, after.seen_from)
    if "unstated" in sides:
        return (False, True)
    return (sides[0] != sides[1],)


def side_note(before: Panel, after: Panel, mirrored: bool) -> str:
    """Say how both were seen, and whether the second is mirrored."""
    sides = (before.seen_from, after.seen_from)
    said = "the second is drawn mirrored" if mirrored else "neither is mirrored"
    if "unstated" in sides:
        how = "it lies on the first only mirrored" if mirrored else "they lie on each other so"
        return f"A side is not stated (first: {sides[0]}, second: {sides[1]}): {said}, for {how}."
    if mirrored is (sides[0] != sides[1]):
        return f"The first was seen from {sides[0]}, the second from {sides[1]}: {said}."
    return (
        f"The records say that the first was seen from {sides[0]} and the second from {sides[1]}, "
        f"but they lie on each other only if {said}: one of the two sides is wrong."
    )


def notes_of(
    before: Panel, after: Panel, found: Registration, options: CompareOptions
) -> Iterator[str]:
    """Yield the notes of a comparison, one sentence each."""
    if before.name != after.name:
        yield f"The records name two panels, {before.name} and {after.name}; their leads agree."
    yield side_note(before, after, found.motion.mirrored)
    if found.alike:
        others = "; ".join(dict.fromkeys(_motion_text(other) for other in found.alike))
        yield (
            f"The second was laid on the first {_motion_text(found.motion)}. It fits as well, or "
            f"nearly, in other ways: {others}. The moves hold only for the way it was laid."
        )
    least = options.sure * math.hypot(
        before.scale.relative_uncertainty,
        after.scale.relative_uncertainty,
        found.growth_uncertainty,
    )
    longest = max(before.width_mm, before.height_mm)
    if abs(found.growth) > least and abs(found.growth) * longest > options.least_move_mm:
        yield (
            f"The second is {100.0 * abs(found.growth):.2f} % "
            f"{'larger' if found.growth > 0.0 else 'smaller'} all over "
            f"({abs(found.growth) * longest:.1f} mm in {longest:.0f} mm), more than both scales "
            "allow: check the references before believing that leads moved."
        )
    for which, panel in (("first", before), ("second", after)):
        parts = len(shapely.get_parts(panel.outline))
        if parts > 1:
            yield f"The {which} panel is in {parts} parts; sag and bow are those of the largest."


def _motion_text(motion: Motion) -> str:
    turn = motion.placement.angle_deg
    how = "as it is" if abs(turn) < 1.0 else f"turned by {turn % 360.0:.0f}°"
    return f"mirrored and {how}" if motion.mirrored else how
