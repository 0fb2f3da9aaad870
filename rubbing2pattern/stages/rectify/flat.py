"""Flat pictures of one scale: a known resolution, or a measured distance between two places."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rubbing2pattern.errors import ScaleNotFound
from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.geometry.frame import Array, Warp, points_array
from rubbing2pattern.inputs.reference import Dpi, Ruler
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Photograph
from rubbing2pattern.stages.rectify.lens import Lens
from rubbing2pattern.stages.rectify.sheet import Sheet, locate_sheet
from rubbing2pattern.units import MM_PER_INCH

_STATED_DPI_COUNTS = 100.0
"""Resolutions in a file up to this do not count: programs write 72 or 96 when they know none."""
_STATED_DPI_AGREES = 0.01
"""Share by which a stated resolution may differ: some files round it to whole pixels per cm."""
_SURE = 5.0
"""Standard deviations from which the bend of a lens is taken out of a scan or ruler."""


@dataclass(frozen=True, slots=True)
class Flat:
    """A picture without perspective.

    Attributes
    ----------
    warp : with the lens, where a ruler's picture shows one.
    sheet : where its four edges are visible.
    uncertainty : one standard deviation of lengths, as a share.
    statement : how the scale was found.
    findings : what speaks against a flat picture.
    """

    warp: Warp
    sheet: Sheet | None
    uncertainty: float
    statement: str
    findings: tuple[Finding, ...]


def flat_by_dpi(photograph: Photograph, reference: Dpi, options: RectifyOptions) -> Flat:
    """Take the scale from a scanner's resolution; a scan has no lens."""
    px_per_mm = reference.dpi / MM_PER_INCH
    warp = Warp.similarity(px_per_mm, photograph.grey.shape[0])
    sheet = _whole_sheet(photograph, px_per_mm, options)
    findings, uncertainty = _doubts(sheet, 0.0, options)
    stated = photograph.dpi
    if (
        stated is not None
        and stated > _STATED_DPI_COUNTS
        and abs(stated / reference.dpi - 1.0) > _STATED_DPI_AGREES
    ):
        disagrees = finding_of(Kind.RESOLUTION_DISAGREES, stated=stated, given=reference.dpi)
        findings = (*findings, disagrees)
    return Flat(
        warp,
        sheet,
        math.hypot(options.dpi_uncertainty, uncertainty),
        f"Scale from a resolution of {reference.dpi:g} dpi.",
        findings,
    )


def flat_by_ruler(photograph: Photograph, reference: Ruler, options: RectifyOptions) -> Flat:
    """Take the scale from the distance between two places, seen through the lens if it shows."""
    height_px, width_px = photograph.grey.shape
    ends = points_array((reference.first_px, reference.second_px))
    for x, y in ends:
        if not (-0.5 <= x <= width_px - 0.5 and -0.5 <= y <= height_px - 0.5):
            raise ScaleNotFound(
                f"--ruler: the place {x:g},{y:g} lies outside the picture, which has {width_px} x "
                f"{height_px} pixels"
            )
    rough = math.dist(*ends) / reference.length_mm
    sheet = _whole_sheet(photograph, rough, options)
    k1 = _sure_k1(sheet, options)
    lens = Lens.of(photograph.grey.shape, k1)
    length_px = math.dist(*lens.ideal(ends))
    plain = Warp.similarity(length_px / reference.length_mm, height_px)
    warp = Warp(plain.homography, k1, lens.centre_px, lens.radius_px)
    findings, uncertainty = _doubts(sheet, k1, options)
    reading = math.sqrt(2.0) * options.reading_px / length_px
    measured = options.ruler_uncertainty_mm / reference.length_mm
    return Flat(
        warp,
        sheet,
        math.hypot(reading, measured, uncertainty),
        f"Scale from two places {reference.length_mm:g} mm apart.",
        findings,
    )


def _whole_sheet(photograph: Photograph, px_per_mm: float, options: RectifyOptions) -> Sheet | None:
    sheet = locate_sheet(photograph, None, options, px_per_mm, thorough=False)
    return None if sheet is None or sheet.missing(options) else sheet


def _sure_k1(sheet: Sheet | None, options: RectifyOptions) -> float:
    """Return the lens's coefficient where the edges show it beyond doubt, else 0."""
    if sheet is None:
        return 0.0
    k1 = sheet.fit.lens.k1
    spread = math.sqrt(float(sheet.fit.covariance[8, 8]))
    return k1 if abs(k1) > max(options.least_k1, _SURE * spread) else 0.0


def _doubts(
    sheet: Sheet | None, k1: float, options: RectifyOptions
) -> tuple[tuple[Finding, ...], float]:
    """Return what in the sheet's edges speaks against a flat picture, and how much it matters."""
    if sheet is None:
        return (), 0.0
    out_of_true = _out_of_true(sheet.corners)
    bent = abs(_sure_k1(sheet, options) - k1)
    if out_of_true <= options.flat_limit and bent == 0.0:
        return (), 0.0
    by_lens = bent > out_of_true
    doubt = finding_of(
        Kind.EDGES_OUT_OF_TRUE,
        k1=sheet.fit.lens.k1 if by_lens else None,
        off_share=None if by_lens else out_of_true,
    )
    return (doubt,), max(out_of_true, bent)


def _out_of_true(corners: Array) -> float:
    """Return how unequal opposite sides are, as a share; a parallelogram has right sides."""
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    return float(np.max(np.abs(sides[:2] - sides[2:]) / (sides[:2] + sides[2:]) * 2.0))
