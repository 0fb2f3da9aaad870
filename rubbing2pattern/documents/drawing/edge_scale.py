"""A scale along the edges of a drawing, so that a place in a message is found by eye.

It counts in the panel's frame, as places in messages and in the record do: from the lower left
corner, x to the right and y upwards, in the unit of the documents.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from rubbing2pattern.documents.drawing import Anchor, Mark, Stroke, Text
from rubbing2pattern.documents.drawing.layers import EDGE_SCALE
from rubbing2pattern.geometry.curves import Line
from rubbing2pattern.reading import Bounds
from rubbing2pattern.units import MM_PER_INCH, Unit

_STEPS: Final[dict[Unit, tuple[tuple[float, float, float], ...]]] = {
    "mm": ((5.0, 10.0, 50.0), (10.0, 50.0, 100.0), (50.0, 100.0, 500.0)),
    "in": ((0.25, 0.5, 1.0), (0.5, 1.0, 2.0), (1.0, 5.0, 10.0), (5.0, 10.0, 50.0)),
}
"""From short tick to short tick, from longer to longer, from label to label; by unit."""
_UNIT_MM: Final[dict[Unit, float]] = {"mm": 1.0, "in": MM_PER_INCH}
_LEAST_STEP_MM, _LEAST_LABEL_MM = 1.4, 9.0
"""Between ticks and between labels on the paper; closer ones cannot be counted, or meet."""
TICK_MM = (1.0, 1.6, 2.4)
"""Lengths of short, longer and labelled ticks on the paper."""
LABEL_MM = 1.6
"""Height of labels on the paper; 1.6 mm is print of 6 point."""
_GAP_MM = 0.5
"""Between a tick and its label."""


@dataclass(frozen=True, slots=True)
class Tick:
    """A line of the scale.

    Attributes
    ----------
    at_mm : where it is in the panel's frame, along one axis.
    rank : 0 for a short one, 1 for a longer one, 2 for one with a label.
    label : the number at it, or nothing.
    """

    at_mm: float
    rank: int
    label: str


def ticks(low_mm: float, high_mm: float, unit: Unit, reduction: float = 1.0) -> Iterator[Tick]:
    """Yield the ticks between two places of one axis of the panel's frame.

    Parameters
    ----------
    low_mm, high_mm : the ends.
    unit : in which labels count.
    reduction : millimetres of the panel for one on the paper.

    Examples
    --------
    >>> [tick.label for tick in ticks(-3.0, 101.0, "mm") if tick.label]
    ['0', '50', '100']
    """
    per = _UNIT_MM[unit]
    fine, longer, labelled = next(
        (
            steps
            for steps in _STEPS[unit]
            if steps[0] * per >= _LEAST_STEP_MM * reduction
            and steps[2] * per >= _LEAST_LABEL_MM * reduction
        ),
        _STEPS[unit][-1],
    )
    for k in range(math.ceil(low_mm / (fine * per)), math.floor(high_mm / (fine * per)) + 1):
        rank = 2 if _whole(k * fine / labelled) else 1 if _whole(k * fine / longer) else 0
        yield Tick(k * fine * per, rank, f"{k * fine:g}" if rank == 2 else "")


def scale_inside(
    frame_mm: Bounds, leads_mm: Bounds, unit: Unit, mirrored_width_mm: float | None
) -> Iterator[Mark]:
    """Yield the scale along the inside of the four sides of a frame at true size.

    Parameters
    ----------
    frame_mm : x_min, y_min, x_max, y_max of the frame around the panel.
    leads_mm : of the leads, as drawn; the scale is as long as they are.
    unit : of the labels.
    mirrored_width_mm : the panel's width when it is drawn mirrored: x then counts to the left.
    """
    left, low, right, high = frame_mm
    for tick in _drawn(leads_mm[0], leads_mm[2], unit, mirrored_width_mm):
        length, x = TICK_MM[tick.rank], tick.at_mm
        yield _tick((x, high), (x, high - length))
        yield _tick((x, low), (x, low + length))
        for y in (high - length - _middle(), low + length + _middle()) if tick.label else ():
            yield _label(x, y, tick.label, 0.0)
    for tick in _drawn(leads_mm[1], leads_mm[3], unit, None):
        length, y = TICK_MM[tick.rank], tick.at_mm
        yield _tick((left, y), (left + length, y))
        yield _tick((right, y), (right - length, y))
        for x in (left + length + _middle(), right - length - _middle()) if tick.label else ():
            yield _label(x, y, tick.label, 90.0)


def scale_outside(
    window_mm: Bounds, leads_mm: Bounds, unit: Unit, mirrored_width_mm: float | None
) -> Iterator[Mark]:
    """Yield the scale along the outside of a window on the panel; labels above and at the right.

    Parameters
    ----------
    window_mm : x_min, y_min, x_max, y_max of what the page shows, as drawn.
    leads_mm, unit, mirrored_width_mm : as for `scale_inside`.
    """
    left, low, right, high = window_mm
    across = max(left, leads_mm[0]), min(right, leads_mm[2])
    for tick in _drawn(*across, unit, mirrored_width_mm):
        length, x = _SHORT * TICK_MM[tick.rank], tick.at_mm
        yield _tick((x, high), (x, high + length))
        yield _tick((x, low), (x, low - length))
        if tick.label:
            yield _label(x, high + length + _middle(), tick.label, 0.0)
    upright = max(low, leads_mm[1]), min(high, leads_mm[3])
    for tick in _drawn(*upright, unit, None):
        length, y = _SHORT * TICK_MM[tick.rank], tick.at_mm
        yield _tick((left, y), (left - length, y))
        yield _tick((right, y), (right + length, y))
        if tick.label:
            yield _label(right + length + _middle(), y, tick.label, 90.0)


_SHORT = 0.7
"""Of the length of ticks outside a window, where check lengths and crop marks are near."""


def _drawn(low: float, high: float, unit: Unit, mirrored_width_mm: float | None) -> Iterator[Tick]:
    """Yield ticks where they are drawn, labelled by the panel's frame."""
    if mirrored_width_mm is None:
        yield from ticks(low, high, unit)
        return
    for tick in ticks(mirrored_width_mm - high, mirrored_width_mm - low, unit):
        yield Tick(mirrored_width_mm - tick.at_mm, tick.rank, tick.label)


def _middle() -> float:
    return _GAP_MM + 0.5 * LABEL_MM


def _tick(start: tuple[float, float], end: tuple[float, float]) -> Stroke:
    return Stroke(EDGE_SCALE, Line(start, end))


def _label(x: float, y: float, text: str, angle_deg: float) -> Text:
    return Text(EDGE_SCALE, (x, y), text, LABEL_MM, Anchor.CENTRE, angle_deg)


def _whole(number: float) -> bool:
    return abs(number - round(number)) < 1e-6
