"""Find lead: what a learned map sees as lead, and how dark the rubbing is there."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import cv2
import numpy as np
import numpy.typing as npt
import shapely

from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.imaging.basins import glass_basins
from rubbing2pattern.imaging.density import density, paper_level
from rubbing2pattern.imaging.lead_network import CELL_MM, network_maps
from rubbing2pattern.imaging.resample import on_grid
from rubbing2pattern.options.lead import LeadOptions
from rubbing2pattern.options.skeleton import SkeletonOptions
from rubbing2pattern.reading import Grey, Grid, LeadMap, NetworkMaps, Rubbing

_LARGE_CELLS = 2_000_000
"""Cells of a grid, half a square metre, from which a few windows are looked at before all of it."""
_WINDOW = 256
"""Cells of such a window each way, 128 mm."""
_WINDOW_M2 = (_WINDOW * CELL_MM / 1000.0) ** 2
"""Square metres of such a window."""
_WINDOWS = 24
"""Windows at most; the network takes about 4 s for them."""
_CONTRAST = 32
"""Places each way at which the contrast of a window is taken, every 4 mm."""
_STEP = 16
"""Cells from one place at which the sheet is asked for to the next."""
_ON_THE_SHEET = 0.5
"""Share of a window that must lie on the sheet."""
Mask = npt.NDArray[np.bool_]


def find_lead(
    rubbing: Rubbing,
    options: LeadOptions | None = None,
    dense: SkeletonOptions | None = None,
) -> LeadMap:
    """Return where lead is, and how dark the rubbing is everywhere.

    Strategy:

    1. the photograph is laid on the grid on which the network was trained;
    2. the network says for every cell whether it is lead, on a lead line, at a joint;
    3. uneven light is divided out: density is ln(paper / image), the second witness;
    4. the strength of lead nearby says what density means much here.

    Parameters
    ----------
    dense : how many openings leads can leave, for the first look at a large picture.

    Raises
    ------
    NoLeadFound
        when the network sees next to no lead line, or lead is hardly darker than paper.
    """
    with _memory_for(rubbing):
        return _found(rubbing, options or LeadOptions(), dense or SkeletonOptions())


@contextmanager
def _memory_for(rubbing: Rubbing) -> Iterator[None]:
    """Say what was too large where memory runs out, as numpy and OpenCV report it."""
    try:
        yield
    except (MemoryError, cv2.error) as fault:
        if isinstance(fault, cv2.error) and fault.code != cv2.Error.StsNoMem:
            raise
        x_min, y_min, x_max, y_max = rubbing.bounds_mm
        across_mm, up_mm = x_max - x_min, y_max - y_min
        raise MemoryError(
            f"{rubbing.photograph.source} shows {across_mm:.0f} x {up_mm:.0f} mm by the scale from "
            f"{rubbing.scale.reference}, {across_mm * up_mm / CELL_MM**2 / 1e6:.0f} million cells "
            f"of {CELL_MM} mm; check the scale, or trace the parts of the picture one by one"
        ) from fault


def _found(rubbing: Rubbing, options: LeadOptions, dense: SkeletonOptions) -> LeadMap:
    grey, warp = rubbing.photograph.grey, rubbing.warp
    frame = Frame.over(rubbing.bounds_mm, 1.0 / CELL_MM)
    mask = _paper_mask(rubbing, frame, options.margin_mm)
    laid = on_grid(grey, warp, frame)
    _refuse_unless_some_window_shows_lead(laid, mask, options, dense)
    maps = network_maps(laid, mask)
    paper_frame = Frame.over(rubbing.bounds_mm, 1.0 / options.paper_grid_mm)
    level = paper_level(
        on_grid(grey, warp, paper_frame),
        _paper_mask(rubbing, paper_frame, options.margin_mm),
        paper_frame.px_per_mm,
        options.closing_mm,
        options.median_mm,
    )
    fine_level = np.asarray(cv2.resize(level, (frame.width_px, frame.height_px)), dtype=np.float32)
    dark = density(laid, fine_level)
    dark[~mask] = 0.0
    line = (maps.centre > options.line_above) & mask
    _refuse_without_lines(line, options)
    strength = _local_strength(dark, line, options.strength_mm * frame.px_per_mm)
    _refuse_if_faint(strength, line, options)
    return LeadMap(frame, dark, _within(maps, mask), strength, mask, level, paper_frame)


def _within(maps: NetworkMaps, mask: Mask) -> NetworkMaps:
    """Return the maps with nothing outside the sheet."""
    inner = mask.astype(np.float32)
    return NetworkMaps(*(getattr(maps, name) * inner for name in NetworkMaps.__slots__))


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


def _local_strength(dark: Grid, line: Mask, sigma_px: float) -> Grid:
    """Return the mean density on lead lines nearby, (H, W).

    Where few are near, the mean of the whole picture is leaned on.
    """
    step = 4
    size = (max(1, dark.shape[1] // step), max(1, dark.shape[0] // step))
    weight = line.astype(np.float32)
    calm = cv2.blur(dark, (3, 3))
    value = cv2.resize(calm * weight, size, interpolation=cv2.INTER_AREA)
    mass = cv2.resize(weight, size, interpolation=cv2.INTER_AREA)
    overall = float(value.sum() / max(float(mass.sum()), 1e-9))
    sigma = max(sigma_px / step, 0.5)
    value = cv2.GaussianBlur(value, (0, 0), sigma)
    mass = cv2.GaussianBlur(mass, (0, 0), sigma)
    lean = 0.01
    local = (value + lean * overall) / (mass + lean)
    full = cv2.resize(local.astype(np.float32), dark.shape[::-1])
    return np.maximum(np.asarray(full, dtype=np.float32), 1e-4)


def _refuse_unless_some_window_shows_lead(
    laid: Grey, mask: Mask, options: LeadOptions, dense: SkeletonOptions
) -> None:
    """Look at a few windows of a large picture, and refuse it where none can be of a leaded panel.

    The first window that can ends the look: one with lead lines, and not more openings than lead
    can close round.
    """
    windows = _windows(laid, mask) if laid.size > _LARGE_CELLS else []
    if not windows:
        return
    longest_mm = 0.0
    for window in windows:
        part = mask[window]
        centre = network_maps(np.ascontiguousarray(laid[window]), part).centre
        length_mm = _length_mm((centre > options.line_above) & part, options)
        if length_mm >= options.window_lines_mm:
            glass = (centre < dense.glass_below) & part
            _, count = glass_basins(glass, 1.0 / CELL_MM, dense)
            if count <= dense.most_openings_m2 * _WINDOW_M2:
                return
        longest_mm = max(longest_mm, length_mm)
    looked_at = f"no lead lines found: of {len(windows)} windows of {_WINDOW * CELL_MM:.0f} mm"
    asked = "is it a rubbing of a leaded panel, and is the scale right?"
    if longest_mm >= options.window_lines_mm:
        raise NoLeadFound(
            f"{looked_at} those with dark lines show more than {dense.most_openings_m2:.0f} "
            f"openings in a square metre, which leads do not leave; {asked}"
        )
    raise NoLeadFound(
        f"{looked_at}, those with the most contrast among them, none has more than "
        f"{longest_mm:.0f} mm that look like lead, at least {options.window_lines_mm:.0f} mm "
        f"should; {asked}"
    )


def _windows(laid: Grey, mask: Mask) -> list[tuple[slice, slice]]:
    """Return windows of the sheet: half of them with the most contrast, half from all others.

    A picture too narrow for a window has none.
    """
    rows, columns = (size // _WINDOW for size in laid.shape)
    if not rows or not columns:
        return []
    height, width = rows * _WINDOW, columns * _WINDOW
    small = (columns * _CONTRAST, rows * _CONTRAST)
    shrunk = cv2.resize(laid[:height, :width], small, interpolation=cv2.INTER_AREA)
    blocks = shrunk.reshape(rows, _CONTRAST, columns, _CONTRAST).swapaxes(1, 2)
    contrast = blocks.reshape(rows * columns, -1).std(axis=1)
    sheet = mask[:height:_STEP, :width:_STEP].reshape(rows, -1, columns, _WINDOW // _STEP)
    order = np.argsort(-contrast, kind="stable")
    order = order[sheet.mean(axis=(1, 3)).ravel()[order] > _ON_THE_SHEET]
    most, others = order[: _WINDOWS // 2], order[_WINDOWS // 2 :]
    spread = others[:: max(1, len(others) // (_WINDOWS // 2))][: _WINDOWS // 2]
    corners = [divmod(int(block), columns) for block in np.concatenate((most, spread))]
    return [
        (slice(row * _WINDOW, (row + 1) * _WINDOW), slice(at * _WINDOW, (at + 1) * _WINDOW))
        for row, at in corners
    ]


def _length_mm(line: Mask, options: LeadOptions) -> float:
    return float(line.sum()) * CELL_MM * CELL_MM / options.line_width_mm


def _refuse_without_lines(line: Mask, options: LeadOptions) -> None:
    length_mm = _length_mm(line, options)
    if length_mm < options.least_lines_mm:
        raise NoLeadFound(
            f"no lead lines found: about {length_mm:.0f} mm of the picture look like lead, at "
            f"least {options.least_lines_mm:.0f} mm should; is it a rubbing of a leaded panel, "
            "and is the scale right?"
        )


def _refuse_if_faint(strength: Grid, line: Mask, options: LeadOptions) -> None:
    found = float(np.median(strength[line]))
    if found < options.faintest:
        raise NoLeadFound(
            f"no lead lines found: the darkest lines stand out from the paper by a density of "
            f"{found:.3f}, but at least {options.faintest:.3f} is needed; "
            "rub again with more pressure or scan with more contrast"
        )
