"""Small rubbings drawn as pictures of known density, for the tests of the image stages."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Frame, Warp
from rubbing2pattern.reading import LeadMap, NetworkMaps, Photograph, Rubbing, Scale

PX_PER_MM = 4.0
PAPER = 235.0
TOOTH, TOOTH_MM = 0.12, 0.17

Points = list[tuple[float, float]]
Grid = npt.NDArray[np.float32]


def sheet(width_mm: float, height_mm: float) -> tuple[npt.NDArray[np.float64], ...]:
    """Return x and y in mm (y upwards) of every pixel of a sheet, each (H, W)."""
    columns = np.arange(round(width_mm * PX_PER_MM)) / PX_PER_MM
    rows = np.arange(round(height_mm * PX_PER_MM))[::-1] / PX_PER_MM
    return tuple(np.meshgrid(columns, rows))


def distance(x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], path: Points) -> Grid:
    """Return the distance in mm from a polyline."""
    best = np.full(x.shape, np.inf)
    for (ax, ay), (bx, by) in pairwise(path):
        along = ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / ((bx - ax) ** 2 + (by - ay) ** 2)
        t = np.clip(along, 0.0, 1.0)
        best = np.minimum(best, np.hypot(x - ax - t * (bx - ax), y - ay - t * (by - ay)))
    return best.astype(np.float32)


def leads(
    width_mm: float, height_mm: float, paths: list[Points], lead_mm: float, ink: float = 0.8
) -> Grid:
    """Return the density of a sheet with leads of one width, their edges 0.3 mm soft."""
    x, y = sheet(width_mm, height_mm)
    nearest = np.min([distance(x, y, path) for path in paths], axis=0)
    return np.asarray(ink * np.clip(0.5 - (nearest - lead_mm / 2.0) / 0.3, 0.0, 1.0), np.float32)


def tooth(shape: tuple[int, int], px_per_mm: float, seed: int) -> Grid:
    """Return by how much the grain of the paper takes more ink or less, (H, W), 1 on the mean.

    Wax on paper is never even; a sheet without grain is a drawing, not a rubbing.
    """
    grain = np.random.default_rng(seed).normal(0.0, 1.0, shape).astype(np.float32)
    soft = cv2.GaussianBlur(grain, (0, 0), TOOTH_MM * px_per_mm)
    return np.asarray(np.clip(1.0 + TOOTH * soft / soft.std(), 0.0, 2.0), np.float32)


def photograph(density: Grid) -> Rubbing:
    """Return a flat scan of a sheet of this density, with its grain and the noise of a camera."""
    noise = np.random.default_rng(7).normal(0.0, 1.5, density.shape)
    inked = density * tooth(density.shape, PX_PER_MM, 7)
    grey = np.clip(PAPER * np.exp(-inked) + noise, 0, 255).astype(np.uint8)
    height, width = grey.shape
    warp = Warp.similarity(PX_PER_MM, height)
    bounds = (0.0, 0.0, (width - 1) / PX_PER_MM, (height - 1) / PX_PER_MM)
    return Rubbing(
        Photograph(grey, "drawn", ""), warp, bounds, None, Scale("dpi", PX_PER_MM, 0.001)
    )


def map_of(centre: Grid, width_mm: float = 4.0, px_per_mm: float = 2.0) -> LeadMap:
    """Return a map on which lead line, leaf, density are all as given, and all lies in the panel.

    The panel takes in all but a rim of three cells.
    """
    height, width = centre.shape
    frame = Frame(px_per_mm, 0.0, (height - 1) / px_per_mm, width, height)
    grey = np.full((4, 4), PAPER, np.float32)
    inside = np.zeros(centre.shape, np.float32)
    inside[3:-3, 3:-3] = 1.0
    return LeadMap(
        frame=frame,
        density=centre,
        maps=NetworkMaps(
            leaf=centre,
            centre=centre,
            inside=inside,
            width_mm=np.full(centre.shape, width_mm, np.float32),
        ),
        strength=np.ones(centre.shape, np.float32),
        mask=np.ones(centre.shape, bool),
        paper_level=grey,
        paper_frame=Frame.over(frame.bounds_mm, 4.0 * px_per_mm / max(height, width)),
    )
