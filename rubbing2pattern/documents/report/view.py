"""A window on the panel, written as SVG inside the report."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from html import escape

import numpy as np
import numpy.typing as npt

from rubbing2pattern.documents.drawing import plain_text
from rubbing2pattern.documents.drawing.pattern import finding_mark
from rubbing2pattern.documents.overlay import SEVERITY_COLOURS
from rubbing2pattern.findings import Severity
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.geometry.frame import points_array
from rubbing2pattern.reading import Bounds
from rubbing2pattern.units import decimal

_CAPITALS = 0.718
"""Height of capitals of common sans-serif types, of their size."""
_LEAST_TURN = 1e-3


@dataclass(frozen=True, slots=True)
class View:
    """A window on the panel; user units are millimetres of the panel from its upper left corner.

    Attributes
    ----------
    bounds_mm : x_min, y_min, x_max, y_max in the panel's frame.
    reduction : millimetres of the panel for one on the paper; line weights are given on the paper.
    """

    bounds_mm: Bounds
    reduction: float

    @classmethod
    def within(cls, bounds_mm: Bounds, width_mm: float, height_mm: float) -> View:
        """Return the view of a rectangle in a space on the paper, never larger than life."""
        x_min, y_min, x_max, y_max = bounds_mm
        return cls(bounds_mm, max((x_max - x_min) / width_mm, (y_max - y_min) / height_mm, 1.0))

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the window."""
        x_min, y_min, x_max, y_max = self.bounds_mm
        return x_max - x_min, y_max - y_min

    def svg(self, parts: Iterable[str], title: str, name: str) -> str:
        """Return the window as an element; `name` is its class."""
        width, height = self.size_mm
        return "\n".join(
            (
                f'<svg class="{escape(name)}" role="img" viewBox="0 0 {n(width)} {n(height)}" '
                f'width="{n(width / self.reduction)}mm" '
                f'height="{n(height / self.reduction)}mm">',
                f"<title>{escape(plain_text(title), quote=False)}</title>",
                *parts,
                "</svg>",
            )
        )

    def group(self, parts: Iterable[str], name: str, weight_mm: float, **given: str) -> str:
        """Return a group of unfilled lines of a weight on the paper."""
        looks = {"fill": "none", "stroke": "black"} | given
        attributes = " ".join(f'{key.replace("_", "-")}="{value}"' for key, value in looks.items())
        lines = "\n".join(parts)
        weight = n(weight_mm * self.reduction)
        return (
            f'<g data-layer="{escape(name)}" stroke-width="{weight}" stroke-linecap="round" '
            f'stroke-linejoin="round" {attributes}>{lines}</g>'
        )

    def run(self, points_mm: npt.ArrayLike, *, closed: bool = False) -> str:
        """Return the commands of a path through points, (N, 2)."""
        places = points_array(points_mm) - (self.bounds_mm[0], 0.0)
        places[:, 1] = self.bounds_mm[3] - places[:, 1]
        fine = 1 if self.reduction > 2.0 else 2
        steps = "L".join(f"{x:g} {y:g}" for x, y in (np.round(places, fine) + 0.0).tolist())
        return f"M{steps}{'Z' if closed else ''}"

    def at(self, point: Point) -> tuple[float, float]:
        """Return where a place of the panel lies."""
        return point[0] - self.bounds_mm[0], self.bounds_mm[3] - point[1]

    def text(
        self,
        at: Point,
        text: str,
        height_mm: float,
        *,
        angle_deg: float = 0.0,
        anchor: str = "middle",
        halo: bool = True,
    ) -> str:
        """Return lettering, its middle at a place; `height_mm` of capitals, in the panel's mm."""
        x, y = self.at(at)
        said = escape(plain_text(text), quote=False)
        turned = abs(angle_deg) > _LEAST_TURN
        turn = f' transform="rotate({n(-angle_deg)} {n(x)} {n(y)})"' if turned else ""
        around = (
            f' stroke="white" stroke-width="{n(0.3 * height_mm)}" paint-order="stroke"'
            if halo
            else ""
        )
        return (
            f'<text x="{n(x)}" y="{n(y + 0.5 * height_mm)}" text-anchor="{anchor}" '
            f'font-size="{n(height_mm / _CAPITALS)}"{around}{turn}>{said}</text>'
        )

    def finding(
        self, severity: Severity, at: Point, half_mm: float, *, coloured: bool
    ) -> Iterator[str]:
        """Yield the mark of a finding, in colour over a black edge or in black over a white one."""
        commands = " ".join(_outline(self, severity, at, half_mm))
        wide = 0.12 * half_mm
        under, over = ("black", colour_of(severity)) if coloured else ("white", "black")
        for colour, weight in ((under, 2.2 * wide), (over, wide)):
            yield (
                f'<path d="{commands}" fill="none" stroke="{colour}" stroke-width="{n(weight)}"/>'
            )


def colour_of(severity: Severity) -> str:
    """Return the colour of a severity as CSS has it."""
    return "#{:02x}{:02x}{:02x}".format(*SEVERITY_COLOURS[severity])


def badge(severity: Severity) -> str:
    """Return the mark of a severity, for use in a line of text."""
    view = View((-1.5, -1.5, 1.5, 1.5), 1.0)
    commands = " ".join(_outline(view, severity, (0.0, -0.1), 1.0))
    mark = f'<path d="{commands}" fill="{colour_of(severity)}" stroke="black" stroke-width="0.25"/>'
    return view.svg((mark,), severity.value, "badge")


def n(number: float) -> str:
    """Write a number to a hundredth, without idle noughts."""
    text = decimal(number, 2)
    return text.rstrip("0").rstrip(".")


def _outline(view: View, severity: Severity, at: Point, half_mm: float) -> Iterator[str]:
    shapes = finding_mark(severity, at, half_mm)
    if shapes is None:
        x, y = view.at(at)
        h = n(half_mm)
        yield f"M{n(x - half_mm)} {n(y)}a{h} {h} 0 1 0 {n(2 * half_mm)} 0"
        yield f"a{h} {h} 0 1 0 {n(-2 * half_mm)} 0Z"
    for shape in shapes or ():
        yield view.run(shape, closed=len(shape) > 2)
