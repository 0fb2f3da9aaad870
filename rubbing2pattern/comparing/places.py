"""Lead lines as even places. Legend for shapes: C cames, N places on all of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely

from rubbing2pattern.comparing.rigid import Motion, turned
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import Came

_CHORD_MM = 0.005
"""How closely curved leads are followed."""
_FINE_MM = 0.2
"""Length either way over which a lead's direction is taken."""

Indices = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]
Shapes = npt.NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class Places:
    """Places in the middle of equal cells along every came.

    Attributes
    ----------
    at : (N, 2) where.
    way : (N, 2) unit vectors along the came, from its start to its end.
    came : (N,) index of the came.
    along_mm : (N,) from the came's start.
    cell_mm : (N,) length of the cell.
    border : (N,) True on the outermost cames.
    lines : (C,) the cames as linestrings.
    first : (C + 1,) index of the first place of each came, N last.
    """

    at: Array
    way: Array
    came: Indices
    along_mm: Array
    cell_mm: Array
    border: Bools
    lines: Shapes
    first: Indices

    @classmethod
    def of(cls, cames: Sequence[Came], step_mm: float) -> Places:
        """Take places about every `step_mm`, two at least on a came."""
        lines = shapely.linestrings(
            np.vstack([came.curve.points(_CHORD_MM) for came in cames]),
            indices=np.repeat(
                np.arange(len(cames)), [len(came.curve.points(_CHORD_MM)) for came in cames]
            ),
        )
        lengths = shapely.length(lines)
        counts = np.maximum(2, np.round(lengths / step_mm)).astype(int)
        came = np.repeat(np.arange(len(cames)), counts)
        first = np.concatenate(([0], np.cumsum(counts)))
        cell = (lengths / counts)[came]
        along = (np.arange(len(came)) - first[came] + 0.5) * cell
        at = _on(lines[came], along)
        return cls(
            at,
            ways(lines[came], along),
            came,
            along,
            cell,
            np.array([c.border for c in cames], dtype=bool)[came],
            lines,
            first,
        )

    def moved(self, motion: Motion) -> Places:
        """Return the places after a motion."""
        way = self.way * (-1.0, 1.0) if motion.mirrored else self.way
        return replace(
            self,
            at=motion.apply(self.at),
            way=turned(way, math.radians(motion.placement.angle_deg)),
            lines=shapely.transform(self.lines, motion.apply),
        )

    def of_came(self, k: int) -> slice:
        """Return the slice with the places of one came."""
        return slice(int(self.first[k]), int(self.first[k + 1]))


def ways(lines: Shapes, along_mm: Array) -> Array:
    """Return the unit vectors along lines (N,) at lengths (N,), as (N, 2)."""
    lengths = shapely.length(lines)
    ahead = _on(lines, np.minimum(along_mm + _FINE_MM, lengths))
    behind = _on(lines, np.maximum(along_mm - _FINE_MM, 0.0))
    step = ahead - behind
    return np.asarray(step / np.maximum(np.hypot(*step.T), 1e-12)[:, None])


def _on(lines: Shapes, along_mm: Array) -> Array:
    return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(lines, along_mm)))
