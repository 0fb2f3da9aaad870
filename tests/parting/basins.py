"""Small nets from basins drawn by hand as rows of digits, for the tests of parting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.options.trace import TraceOptions
from rubbing2pattern.reading import RawNet, Skeleton
from rubbing2pattern.stages.trace import trace

Array = npt.NDArray[np.float64]
Pair = tuple[int, int]
PLAIN = TraceOptions(smooth_mm=0.0)


def net_of(rows: Sequence[str], cell_mm: float = 1.0, branches: tuple[Array, ...] = ()) -> RawNet:
    """Return the net between basins; that of the upper left corner is the outside, side 0."""
    return net_of_cells(np.array([[int(c) for c in row] for row in rows], np.int32), cell_mm,
                        branches)  # fmt: skip


def net_of_cells(
    cells: npt.NDArray[np.int32], cell_mm: float = 1.0, branches: tuple[Array, ...] = ()
) -> RawNet:
    height, width = cells.shape
    frame = Frame(1.0 / cell_mm, 0.0, (height - 1) * cell_mm, width, height)
    return trace(Skeleton(frame, cells, branches), PLAIN)


def odds_by(net: RawNet, between: Mapping[Pair, float], otherwise: float = 5.0) -> Array:
    """Return the log odds of every boundary from those of the two basins that it parts."""
    pairs = [(min(s), max(s)) for s in net.sides.tolist()]
    assert set(between) <= set(pairs), "a boundary is named that is not there"
    return np.array([between.get(pair, otherwise) for pair in pairs])


def length_mm(path: Array) -> float:
    return float(np.hypot(*np.diff(path, axis=0).T).sum())
