"""Find lead: tell lead from glass by its darkness and its band-like shape."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
import shapely

from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.frame import Frame
from rubbing2pattern.imaging.bands import BandShape, finer_and_coarser
from rubbing2pattern.imaging.density import density, paper_level
from rubbing2pattern.imaging.resample import on_grid
from rubbing2pattern.options.lead import LeadOptions
from rubbing2pattern.reading import Grid, LeadMap, Rubbing

Mask = npt.NDArray[np.bool_]


def find_lead(rubbing: Rubbing, options: LeadOptions | None = None) -> LeadMap:
    """Return how much like lead every place of the sheet is.

    Strategy:

    1. the photograph is laid on a grid of `grid_mm`;
    2. uneven light is divided out: density is ln(paper / image);
    3. the strongest band of any width and direction is found at every cell;
    4. it is divided by the strength of the leads nearby, so that a faint corner reads like others.

    Raises
    ------
    NoLeadFound
        when no band anywhere is darker than its sides by `faintest`.
    """
    options = options or LeadOptions()
    grey, warp = rubbing.photograph.grey, rubbing.warp
    frame = Frame.over(rubbing.bounds_mm, 1.0 / options.grid_mm)
    mask = _paper_mask(rubbing, frame, options.margin_mm)
    paper_frame = Frame.over(rubbing.bounds_mm, 1.0 / options.paper_grid_mm)
    level = paper_level(
        on_grid(grey, warp, paper_frame),
        _paper_mask(rubbing, paper_frame, options.margin_mm),
        paper_frame.px_per_mm,
        options.closing_mm,
        options.median_mm,
    )
    fine_level = np.asarray(cv2.resize(level, (frame.width_px, frame.height_px)), dtype=np.float32)
    dark = density(on_grid(grey, warp, frame), fine_level)
    dark[~mask] = 0.0
    shape = BandShape(options.widths_mm, options.along_mm, options.angles, options.core)
    bands = finer_and_coarser(dark, frame.px_per_mm, shape, 5.0)
    response = np.where(mask, bands.response, 0.0).astype(np.float32)
    strength = _local_strength(response, mask, options.strength_mm * frame.px_per_mm)
    _refuse_if_faint(strength, response, mask, options)
    return LeadMap(
        frame=frame,
        density=dark,
        band=np.minimum(response / strength, 1.5),
        angle=bands.angle,
        width_mm=bands.width_mm,
        angles=options.angles,
        strength=strength,
        mask=mask,
        paper_level=level,
        paper_frame=paper_frame,
    )


def _paper_mask(rubbing: Rubbing, frame: Frame, margin_mm: float) -> Mask:
    """Say what is sheet, or, where its edges are unknown, wherever the picture reaches."""
    mask = np.zeros((frame.height_px, frame.width_px), dtype=np.uint8)
    sheet = rubbing.paper or shapely.Polygon(rubbing.warp.to_mm(_corners(rubbing)))
    inner = shapely.buffer(sheet, -margin_mm)
    ring = frame.to_px(shapely.get_coordinates(inner.exterior))
    cv2.fillPoly(mask, [np.round(ring).astype(np.int32)], 1)
    return mask.astype(bool)


def _corners(rubbing: Rubbing) -> npt.NDArray[np.float64]:
    h, w = rubbing.photograph.grey.shape
    return np.array([(0, 0), (w - 1, 0), (w - 1, h - 1), (0, h - 1)], dtype=np.float64)


def _local_strength(response: Grid, mask: Mask, sigma_px: float) -> Grid:
    """Mean response of what is clearly a band, weighted over the neighbourhood.

    Where few bands are near, the mean of the whole picture is leaned on.
    """
    inside = response[mask]
    top = float(np.percentile(inside, 98.0)) if inside.size else 0.0
    ridge = np.where(response > 0.3 * top, response, 0.0).astype(np.float32)
    weight = ridge.copy()
    step = 4
    size = (max(1, response.shape[1] // step), max(1, response.shape[0] // step))
    value = cv2.resize(ridge * weight, size, interpolation=cv2.INTER_AREA)
    mass = cv2.resize(weight, size, interpolation=cv2.INTER_AREA)
    overall = float(value.sum() / max(float(mass.sum()), 1e-9))
    sigma = max(sigma_px / step, 0.5)
    value = cv2.GaussianBlur(value, (0, 0), sigma)
    mass = cv2.GaussianBlur(mass, (0, 0), sigma)
    lean = 0.02 * top
    local = (value + lean * overall) / (mass + lean)
    full = cv2.resize(local.astype(np.float32), response.shape[::-1])
    return np.maximum(np.asarray(full, dtype=np.float32), 1e-4)


def _refuse_if_faint(strength: Grid, response: Grid, mask: Mask, options: LeadOptions) -> None:
    found = float(np.median(strength[mask])) if mask.any() else 0.0
    if found < options.faintest:
        raise NoLeadFound(
            f"no lead lines found: the darkest bands stand out from the paper by a density of "
            f"{found:.3f}, but at least {options.faintest:.3f} is needed; "
            "rub again with more pressure or scan with more contrast"
        )
    share = float((response[mask] > 0.5 * found).mean())
    if share < 1e-4:
        raise NoLeadFound("no lead lines found: the picture holds no dark bands 2.5 to 14 mm wide")
