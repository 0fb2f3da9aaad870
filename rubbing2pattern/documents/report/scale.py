"""The scale along the edges of the report's figures, as the pattern has it."""

from __future__ import annotations

from collections.abc import Iterator

from rubbing2pattern.documents.drawing.edge_scale import LABEL_MM, TICK_MM, ticks
from rubbing2pattern.documents.report.view import View
from rubbing2pattern.units import Unit

_SHORT = 0.7
"""Of the length that ticks have on the pattern; a figure has little paper around the panel."""
_WEIGHT_MM = 0.1


def scale_parts(view: View, unit: Unit) -> Iterator[str]:
    """Yield the ticks and labels along the four sides of a view."""
    left, low, right, high = view.bounds_mm
    k = view.reduction
    runs, labels = [], []
    for tick in ticks(left, right, unit, k):
        length = _SHORT * TICK_MM[tick.rank] * k
        beside = length + (0.3 + 0.5 * LABEL_MM) * k
        x = tick.at_mm
        runs += [view.run([(x, high), (x, high - length)]), view.run([(x, low), (x, low + length)])]
        labels += [((x, high - beside), tick.label, 0.0), ((x, low + beside), tick.label, 0.0)]
    for tick in ticks(low, high, unit, k):
        length = _SHORT * TICK_MM[tick.rank] * k
        beside = length + (0.3 + 0.5 * LABEL_MM) * k
        y = tick.at_mm
        runs += [view.run([(left, y), (left + length, y)])]
        runs += [view.run([(right, y), (right - length, y)])]
        labels += [((left + beside, y), tick.label, 90.0), ((right - beside, y), tick.label, 90.0)]
    yield view.group([f'<path d="{" ".join(runs)}"/>'], "edge scale", _WEIGHT_MM)
    texts = (
        view.text(at, label, LABEL_MM * k, angle_deg=angle) for at, label, angle in labels if label
    )
    yield view.group(texts, "edge scale label", 0.0, fill="black", stroke="none")
