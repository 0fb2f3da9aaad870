"""Where the rubbing shows a lead near a place that was tapped.

Strategy: wax on a lead is darker than on glass, in one band or in two with a paler heart between.
Smoothed over half a lead's width both have their darkest line in the middle of the lead. The
darkest place near the tap is taken, nearer ones before farther ones, where it stands out from the
paper around; from there it is followed to the darkest beside it.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from rubbing2pattern.documents.kept_rubbing import KeptRubbing
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.model import Panel
from rubbing2pattern.reading import Grid

_SMOOTH_SHARE = 0.35
"""Of a lead's width that is smoothed over (standard deviation): the two edges of a band meet."""
_AROUND = 4.0
"""How far around the reach the paper is looked at, in standard deviations of the smoothing."""
_STANDS_OUT = 20.0
"""Grey values (of 255) by which a lead is darker than the median: twice the paper's grain."""
_FAR_COUNTS = 0.5
"""Share of its darkness that a place loses at the end of the reach."""
_MOST_MM = 15.0
"""Largest reach: farther off the tap meant something else."""
_MOST_STEPS = 4
"""Steps of the smoothing's size to the darkest place: the middle is no farther from any edge."""
_USUAL_MM = 5.0
"""Width of leads in a panel without any."""


def ridge_near(rubbing: KeptRubbing, panel: Panel, at: Point, reach_mm: float) -> Point | None:
    """Return the middle of the lead that the rubbing shows near a place, or None.

    Parameters
    ----------
    rubbing : the kept rubbing.
    panel : for the usual width of its leads.
    at : the place tapped, mm in the panel's frame.
    reach_mm : how far from it the lead may run.
    """
    frame = rubbing.frame
    widths = [came.face_width_mm for came in panel.cames]
    sigma = _SMOOTH_SHARE * (float(np.median(widths)) if widths else _USUAL_MM) * frame.px_per_mm
    reach = min(reach_mm, _MOST_MM) * frame.px_per_mm
    column, row = frame.to_px([at])[0]
    half = int(np.ceil(reach + _AROUND * sigma))
    left, top = round(column) - half, round(row) - half
    if not (0 <= column < frame.width_px and 0 <= row < frame.height_px):
        return None
    rows, columns = slice(max(0, top), top + 2 * half + 1), slice(max(0, left), left + 2 * half + 1)
    dark = ndimage.gaussian_filter(255.0 - rubbing.grey[rows, columns], sigma, mode="nearest")
    v, u = np.indices(dark.shape)
    far = np.hypot(u + columns.start - column, v + rows.start - row) / reach
    stands_out = dark - np.median(dark)
    worth = np.where(far <= 1.0, stands_out * (1.0 - _FAR_COUNTS * far**2), 0.0)
    best = divmod(int(worth.argmax()), worth.shape[1])
    if stands_out[best] < _STANDS_OUT:
        return None
    row, column = _climbed(dark, best, max(1, round(sigma)))
    place = frame.to_mm([(column + columns.start, row + rows.start)])[0]
    return float(place[0]), float(place[1])


def ridge_direction(rubbing: KeptRubbing, at: Point, reach_mm: float) -> Point:
    """Return the direction in which a dark strip at a place runs, a unit vector in the panel.

    The direction along which the grey changes least: the lesser eigenvector of the structure tensor
    (Förstner and Gülch 1987), weighed less the farther from the place.
    """
    frame = rubbing.frame
    half = max(2, round(reach_mm * frame.px_per_mm))
    column, row = (round(float(v)) for v in frame.to_px([at])[0])
    rows = slice(max(0, row - half), row + half + 1)
    columns = slice(max(0, column - half), column + half + 1)
    grey = ndimage.gaussian_filter(rubbing.grey[rows, columns].astype(np.float32), half / 8.0)
    down, across = np.gradient(grey)
    v, u = np.indices(grey.shape)
    off = ((u + columns.start - column) ** 2 + (v + rows.start - row) ** 2) / (half / 2.0) ** 2
    weight = np.exp(-off)
    xy = -float((weight * across * down).sum())  # y runs upwards in the panel
    xx, yy = float((weight * across**2).sum()), float((weight * down**2).sum())
    angle = 0.5 * np.arctan2(2.0 * xy, xx - yy) + np.pi / 2.0
    return float(np.cos(angle)), float(np.sin(angle))


def darkness(rubbing: KeptRubbing, start: Point, end: Point) -> float:
    """Return how dark the rubbing is along a line, 0 (white) to 255, as the mean of its pixels."""
    ends = rubbing.frame.to_px([start, end])
    count = max(2, round(float(np.hypot(*(ends[1] - ends[0])))))
    columns, rows = (np.linspace(ends[0][k], ends[1][k], count) for k in (0, 1))
    grey = ndimage.map_coordinates(rubbing.grey, (rows, columns), np.float32, 1, mode="nearest")
    return 255.0 - float(grey.mean())


def _climbed(dark: Grid, at: tuple[int, int], step: int) -> tuple[int, int]:
    """Return the darkest place beside a place, a few steps on at most."""
    for _ in range(_MOST_STEPS):
        low, left = max(0, at[0] - step), max(0, at[1] - step)
        near = dark[low : at[0] + step + 1, left : at[1] + step + 1]
        row, column = divmod(int(near.argmax()), near.shape[1])
        if (low + row, left + column) == at:
            break
        at = (low + row, left + column)
    return at
