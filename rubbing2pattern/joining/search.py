"""Where a seam may run: strips of the sheet in which the jogs of all leads are one motion."""

from __future__ import annotations

import numpy as np

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.joining.courses import STEP_MM, Ints
from rubbing2pattern.joining.jogs import Jogs
from rubbing2pattern.joining.motion import prior, robust, rows_of
from rubbing2pattern.joining.seam import Seam
from rubbing2pattern.options.joining import JoiningOptions

_ROUNDS = 6
"""Rounds of weighing anew; a fixed number, so that the same jogs give the same seams."""
_REACH_MM = 200.0
"""How far from its middle two seams are compared; about half a sheet."""
_PEAKS = 4
"""Best strips of each direction that are compared with those of others."""


def seams_of(jogs: Jogs, about_mm: Array, options: JoiningOptions) -> list[Seam]:
    """Return the likeliest seams, upright and level ones and a little tilted, the best first.

    Strategy: for each direction the sheet is cut into strips, every one overlapping the next by
    half. The readings in a strip are equations for one motion, each weighted so that one crossing
    of a lead counts once. All strips of a direction are solved together, by sums over their
    readings.
    """
    found: list[tuple[float, Seam]] = []
    tilts = np.arange(-options.tilt_deg, options.tilt_deg + 1e-9, options.tilt_step_deg)
    for normal_deg in np.concatenate((tilts, tilts + 90.0)).tolist():
        found += _strips(jogs, about_mm, normal_deg, options)
    chosen: list[Seam] = []
    for evidence, seam in sorted(found, key=lambda f: -f[0]):
        if evidence < options.worth or len(chosen) == options.places:
            break
        if all(seam.apart_mm(other, _REACH_MM) > options.apart_mm for other in chosen):
            chosen.append(seam)
    return chosen


def _strips(
    jogs: Jogs, about_mm: Array, normal_deg: float, options: JoiningOptions
) -> list[tuple[float, Seam]]:
    """Return the best strips of one direction with their evidence."""
    seam = Seam((float(about_mm[0]), float(about_mm[1])), normal_deg)
    across = jogs.tangent @ seam.normal
    use = np.abs(across) > np.sin(np.radians(options.square_deg))
    if not use.any():
        return []
    width, across = options.strip_mm, across[use]
    strip = np.floor(seam.beyond_mm(jogs.places[use]) / width).astype(np.int64)
    first = int(strip.min())
    strip = np.concatenate((strip, strip + 1)) - first
    rows = np.tile(rows_of(jogs.places[use], jogs.normal[use], about_mm), (2, 1))
    jog = np.tile(jogs.jog_mm[use] * np.sign(across), 2)
    doubt = np.tile(jogs.doubt_mm[use], 2)
    count = np.tile(np.abs(across) * STEP_MM / (2.0 * width), 2)
    evidence = _evidence(strip, rows, jog, doubt, count, options)
    best = np.argsort(-evidence, kind="stable")[:_PEAKS]
    out = []
    for k in best.tolist():
        at = about_mm + seam.normal * (k + first) * width
        out.append((float(evidence[k]), Seam((float(at[0]), float(at[1])), normal_deg)))
    return out


def _evidence(
    strip: Ints, rows: Array, jog: Array, doubt: Array, count: Array, options: JoiningOptions
) -> Array:
    """Return for every strip the log likelihood that its best motion gains."""
    size, before = int(strip.max()) + 1, prior(options)
    columns = np.ascontiguousarray(rows.T)
    squares = {(i, j): columns[i] * columns[j] for i in range(3) for j in range(i + 1)}
    weight = np.ones(len(jog))
    for _ in range(_ROUNDS):
        share = count * weight / doubt**2
        matrix = np.zeros((size, 3, 3))
        for (i, j), square in squares.items():
            matrix[:, i, j] = matrix[:, j, i] = np.bincount(strip, share * square, size)
        share *= jog
        right = np.stack([np.bincount(strip, share * column, size) for column in columns], axis=1)
        found = np.linalg.solve(matrix + before, right[..., None])[..., 0]
        z = (jog - sum(c * f[strip] for c, f in zip(columns, found.T, strict=True))) / doubt
        weight = 1.0 / (1.0 + (z / options.outlier) ** 2)
    gain = robust(jog / doubt, options.outlier) - robust(z, options.outlier)
    cost = 0.5 * np.einsum("bi,ij,bj->b", found, before, found)
    return np.asarray(np.bincount(strip, count * gain, size) - cost)
