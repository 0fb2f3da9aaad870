"""A step of brightness between rows of blocks, as a wrong mean of one block of a JPEG makes it.

Each block of a JPEG holds the difference of its mean from that of the block before it. Where one
difference is wrong, all later blocks are lighter or darker: along one whole row of blocks, begun
anywhere, each block steps away from the one above it, within a single pixel and by the same
amount. Edges in a picture are blurred, slanted or shorter, and do not keep to the rows of blocks.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.reading import Grey

Flags = npt.NDArray[np.bool_]
Means = npt.NDArray[np.float32]

_STEP_LEVELS = 5.0
"""Least step of grey levels; blocks of strongly compressed paper differ by two or three."""
_DARK_STEP_LEVELS = 15.0
"""The same in dark places, whose ink is grainy."""
_DARK_BELOW_LEVELS = 30.0
"""How much darker than the middle of the picture a place is dark; paper that is already white
cannot get lighter, and then the ink alone shows the step."""
_WHITE = 250.0
"""Grey level from which paper shows no step."""
_SHARE = 0.8
"""Of the places in a row of blocks that step the same way: 0.5 at most in whole rubbings,
1.0 in nearly all damaged ones (``python -m benchmarks.hostile``)."""
_DARK_SHARE = 0.9
"""The same of dark places, which are few."""
_LEAST_ROWS = 4
"""Rows of blocks that a picture needs to be judged."""
_LEAST_PLACES = 8
"""Fewer places say nothing."""
_LEAST_DARK_PLACES = 20
"""The same of dark places, which differ more among themselves."""
_LASTING = 0.5
"""Share of a step at least by which the whole blocks above and below differ as well."""
_USUAL_ROWS = 3
"""So many rows between the rows of blocks that step as well, and the picture shows boards or lines
of writing; one sharp edge steps at two."""
_ALIKE = 0.3
"""Share by which the steps at the beginning of the first row may differ: those of a slanted edge
grow along it."""
_LEAST_BEGINNING = 2
"""Places that the beginning of the first row needs to be judged."""
_BAND_ROWS = 64
"""Rows of blocks looked at together, to spare memory."""


@dataclass(frozen=True, slots=True)
class _Edges:
    """The places at which blocks lie above each other, in the order of the file.

    Attributes
    ----------
    steps : grey levels from above to below, less the slopes on both sides.
    dark : whether one side is dark.
    across : places in a row.
    """

    steps: Means
    dark: Flags
    across: int

    def shares(self, sign: float, *, dark_only: bool) -> npt.NDArray[np.float64]:
        """Return, for each run of places as long as a row, the share that steps by `sign`."""
        if len(self.steps) < self.across:
            return np.zeros(1)
        stepping = sign * self.steps > (_DARK_STEP_LEVELS if dark_only else _STEP_LEVELS)
        counted = self.counted(dark_only=dark_only)
        of = _sums(counted, self.across)
        share = _sums(counted & stepping, self.across) / np.maximum(of, 1)
        return np.where(of >= (_LEAST_DARK_PLACES if dark_only else _LEAST_PLACES), share, 0.0)

    def counted(self, *, dark_only: bool) -> Flags:
        """Return which places count."""
        return self.dark if dark_only else np.ones_like(self.dark)


def largest_step(grey: Grey, unit_px: tuple[int, int]) -> tuple[int, float] | None:
    """Return the row of pixels and the size in grey levels of the clearest step, if there is one.

    Rules:

    1. along a whole row of blocks, begun anywhere, the places step the same way; or, where the
       paper is white and cannot get lighter, the dark ones get lighter;
    2. the whole blocks above and below differ likewise, which no mere line makes;
    3. few rows between the rows of blocks step as well;
    4. where the first row went wrong, only its beginning steps away from the row below.

    Parameters
    ----------
    grey : (H, W), as it lies in the file.
    unit_px : width and height of what is coded as one.
    """
    width_px, height_px = unit_px
    across, down = grey.shape[1] // width_px, grey.shape[0] // height_px
    if across < _LEAST_PLACES or down < _LEAST_ROWS:
        return None
    blocks = grey[: down * height_px, : across * width_px]
    means = cv2.resize(blocks, (across, down), interpolation=cv2.INTER_AREA)
    dark_below = float(np.median(means)) - _DARK_BELOW_LEVELS
    edges = _edges(blocks, unit_px, dark_below)
    lasting = np.diff(means.astype(np.float32), axis=0).ravel()
    for dark_only, signs in ((False, (1.0, -1.0)), (True, (1.0,))):
        for sign in signs:
            share = edges.shares(sign, dark_only=dark_only)
            at = int(np.argmax(share))
            run = np.arange(at, at + across)[edges.counted(dark_only=dark_only)[at : at + across]]
            if (
                share[at] > (_DARK_SHARE if dark_only else _SHARE)  # rule 1
                and (not dark_only or _is_white(means.ravel()[at + across : at + 2 * across]))
                and _lasts(edges.steps[run], lasting[run])  # rule 2
                and _rows_elsewhere(blocks, unit_px, dark_below, dark_only=dark_only) < _USUAL_ROWS
            ):
                return (at // across + 1) * height_px, float(np.median(edges.steps[run]))
    begun = _begun_in_first_row(edges.steps[:across], lasting[:across])  # rule 4
    return None if begun is None else (height_px, begun)


def _edges(grey: Grey, unit_px: tuple[int, int], dark_below: float) -> _Edges:
    width_px, height_px = unit_px
    across = grey.shape[1] // width_px
    rows = np.arange(height_px, grey.shape[0] - 1, height_px)
    steps, darkest = [], []
    for first in range(0, len(rows), _BAND_ROWS):
        at = rows[first : first + _BAND_ROWS]
        farther, above, below, beyond = (
            grey[at + shift, : across * width_px]
            .reshape(len(at), across, width_px)
            .mean(axis=2, dtype=np.float32)
            for shift in (-2, -1, 0, 1)
        )
        steps.append(below - above - 0.5 * (beyond - below + above - farther))
        darkest.append(np.minimum(above, below))
    return _Edges(
        np.concatenate(steps).ravel(), np.concatenate(darkest).ravel() < dark_below, across
    )


def _sums(flags: Flags, length: int) -> npt.NDArray[np.int64]:
    total = np.concatenate(([0], np.cumsum(flags)))
    return total[length:] - total[:-length]


def _is_white(blocks: npt.NDArray[np.generic]) -> bool:
    return float(np.median(blocks.astype(np.float32))) >= _WHITE


def _lasts(steps: Means, lasting: Means) -> bool:
    step, mean = float(np.median(steps)), float(np.median(lasting))
    return step * mean > 0.0 and abs(mean) > _LASTING * abs(step)


def _rows_elsewhere(
    grey: Grey, unit_px: tuple[int, int], dark_below: float, *, dark_only: bool
) -> int:
    """Count the rows of pixels between the rows of blocks that step (rule 3)."""
    height_px = unit_px[1]
    found = 0
    for shift in (height_px // 4, height_px // 2, 3 * height_px // 4):
        edges = _edges(grey[shift:], unit_px, dark_below)
        for sign in (1.0, -1.0):
            share = edges.shares(sign, dark_only=dark_only)
            found += int((share[:: edges.across] > _SHARE).sum())
    return found


def _begun_in_first_row(steps: Means, lasting: Means) -> float | None:
    """Return the step of the places before those where the first row of blocks went wrong.

    What follows in that row has stepped already, so the row below steps under its beginning alone.
    """
    for sign in (1.0, -1.0):
        stepping = np.concatenate(([0], np.cumsum(sign * steps > _DARK_STEP_LEVELS)))
        places = np.arange(_LEAST_BEGINNING, len(steps) + 1)
        before = stepping[places] / places
        after = (stepping[-1] - stepping[places]) / np.maximum(len(steps) - places, 1)
        best = int(np.argmax(before - after))
        run = slice(int(places[best]))
        step = float(np.median(steps[run]))
        alike = np.abs(steps[run] - step) < _ALIKE * abs(step)
        if (
            before[best] - after[best] > _SHARE
            and float(alike.mean()) > _SHARE
            and _lasts(steps[run], lasting[run])
        ):
            return step
    return None
