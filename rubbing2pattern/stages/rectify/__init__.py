"""From a picture and a reference to a rubbing in millimetres."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rubbing2pattern.errors import ScaleNotFound
from rubbing2pattern.findings import Code, Finding, Kind, finding_of
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.inputs.reference import Dpi, Marks, Reference, Ruler, Sheet, Targets
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Photograph, Rubbing, Scale
from rubbing2pattern.stages.rectify.bends import largest_bow
from rubbing2pattern.stages.rectify.extent import bounds_of, mean_scale, paper_of
from rubbing2pattern.stages.rectify.fit import Fit, Pins, local_scale, unsquareness_mm
from rubbing2pattern.stages.rectify.flat import Flat, flat_by_dpi, flat_by_ruler
from rubbing2pattern.stages.rectify.lens import Lens
from rubbing2pattern.stages.rectify.marks import check_marks, settle_marks
from rubbing2pattern.stages.rectify.plane import (
    apply,
    camera_misfit,
    centres_of_squares,
    homography,
    inverse,
)
from rubbing2pattern.stages.rectify.printed_targets import Layout, find_targets, lay_out
from rubbing2pattern.stages.rectify.quads import SIDES
from rubbing2pattern.stages.rectify.sheet import Sheet as FoundSheet, locate_sheet
from rubbing2pattern.stages.rectify.sheet_search import CORNERS

_METRE_MM = 1000.0
"""A length to say the uncertainty of lengths by, before the panel's size is known."""


def rectify(photograph: Photograph, reference: Reference, options: RectifyOptions) -> Rubbing:
    """Find scale, perspective and lens.

    Where the sheet's edges are visible, their bend gives the lens's radial coefficient and their
    outline bounds what is read. Pixels are not resampled here.

    Raises
    ------
    ScaleNotFound
        When the reference cannot be matched with the picture, or gives it a size that no rubbing
        has: what follows would need memory and time for it.
    """
    match reference:
        case Dpi():
            rubbing = _flat(photograph, "dpi", flat_by_dpi(photograph, reference, options))
        case Ruler():
            rubbing = _flat(photograph, "ruler", flat_by_ruler(photograph, reference, options))
        case Sheet():
            rubbing = _by_sheet(photograph, reference, options)
        case Marks():
            rubbing = _by_marks(photograph, reference, options)
        case Targets():
            rubbing = _by_targets(photograph, reference, options)
    _check_extent(rubbing, options)
    findings = photograph.findings + rubbing.findings + _scale_doubts(rubbing.scale, options)
    return replace(rubbing, findings=findings)


def _check_extent(rubbing: Rubbing, options: RectifyOptions) -> None:
    """Refuse a picture that the reference makes far too small or too large for a rubbing."""
    x_min, y_min, x_max, y_max = rubbing.bounds_mm
    across_mm, up_mm = x_max - x_min, y_max - y_min
    limit = f"at least {options.least_side_mm:g} mm (option rectify.least_side_mm)"
    if max(across_mm, up_mm) >= options.least_side_mm:
        if across_mm * up_mm <= options.most_m2 * _METRE_MM * _METRE_MM:
            return
        limit = f"at most {options.most_m2:g} m² (option rectify.most_m2)"
    reference = rubbing.scale.reference
    raise ScaleNotFound(
        f"by --{reference} {rubbing.photograph.source} shows {across_mm:.3g} x {up_mm:.3g} mm, but "
        f"a rubbing has {limit}; check the numbers of --{reference} and their unit"
    )


def _flat(photograph: Photograph, kind: str, flat: Flat) -> Rubbing:
    shape = photograph.grey.shape
    paper = None if flat.sheet is None else paper_of(flat.sheet.corners, flat.warp)
    picture_mm = flat.warp.to_mm([(0.0, 0.0), (shape[1] - 1.0, shape[0] - 1.0)])
    bounds = bounds_of(flat.warp, shape, picture_mm) if paper is None else paper.bounds
    px_per_mm = mean_scale(flat.warp, bounds)
    scale = Scale(kind, px_per_mm, flat.uncertainty, (), flat.warp.k1, flat.statement)
    return Rubbing(photograph, flat.warp, bounds, paper, scale, flat.findings)


def _by_sheet(photograph: Photograph, reference: Sheet, options: RectifyOptions) -> Rubbing:
    size_mm = (reference.width_mm, reference.height_mm)
    sheet = locate_sheet(photograph, size_mm, options)
    missing = SIDES if sheet is None else sheet.missing(options)
    if sheet is None or missing:
        which = " and ".join(missing)
        raise ScaleNotFound(
            f"the sheet's {which} edge was not found in {photograph.source}; show the whole "
            "sheet on a ground of another tone, or give marks with --marks"
        )
    fit = sheet.fit
    statement = (
        f"Scale, perspective and lens from the four edges of a sheet of {reference.width_mm:g} by "
        f"{reference.height_mm:g} mm."
    )
    uncertainty = sheet_uncertainty(fit, size_mm, options)
    scale = Scale("sheet", 0.0, uncertainty, (), fit.lens.k1, statement)
    return _perspective(photograph, fit, sheet, scale, (), options)


def sheet_uncertainty(fit: Fit, size_mm: tuple[float, float], options: RectifyOptions) -> float:
    """Return one standard deviation of lengths by a sheet of a given size, as a share."""
    own = fit.length_uncertainty(fit.lens.seen(fit.sheet_corners))
    shares = [options.sheet_uncertainty_mm / each for each in size_mm]
    return float(np.hypot(own, np.sqrt(np.mean(np.square(shares)))))


def _by_marks(photograph: Photograph, reference: Marks, options: RectifyOptions) -> Rubbing:
    names = [mark.name for mark in reference.marks]
    pins = Pins(
        np.array([mark.at_mm for mark in reference.marks]),
        np.array([mark.pixel for mark in reference.marks]),
        options.mark_uncertainty_mm,
        options.reading_px,
    )
    return _by_pins(photograph, "marks", pins, names, options)


def _by_targets(photograph: Photograph, reference: Targets, options: RectifyOptions) -> Rubbing:
    edges = find_targets(photograph.grey, reference.ids)
    centres = centres_of_squares(np.array(list(edges.values())))
    seen = dict(zip(edges, centres, strict=True))
    if reference.distances:
        laid = lay_out(reference.distances, seen, options)
    else:
        given = {p.id: np.array((p.x_mm, p.y_mm)) for p in reference.positions}
        laid = Layout(given, (), options.mark_uncertainty_mm)
    ids = [i for i in reference.ids if i in seen]
    pins = Pins(
        np.array([laid.at_mm[i] for i in ids]),
        np.array([seen[i] for i in ids]),
        laid.uncertainty_mm,
        options.target_reading_px,
        np.array([edges[i] for i in ids]),
    )
    rubbing = _by_pins(photograph, "targets", pins, [f"target {i}" for i in ids], options)
    scale = replace(rubbing.scale, residuals=rubbing.scale.residuals + laid.residuals)
    unseen = [i for i in reference.ids if i not in seen]
    if not unseen:
        return replace(rubbing, scale=scale)
    listed = ", ".join(map(str, unseen))
    finding = finding_of(Kind.TARGETS_UNSEEN, targets=listed)
    return replace(rubbing, scale=scale, findings=(*rubbing.findings, finding))


def _by_pins(
    photograph: Photograph, kind: str, pins: Pins, names: list[str], options: RectifyOptions
) -> Rubbing:
    check_marks(pins, names, photograph.grey.shape)
    lens = Lens.of(photograph.grey.shape)
    rough = local_scale(homography(pins.mm, pins.px), pins.mm.mean(axis=0))
    sheet = locate_sheet(photograph, None, options, rough, about_px=pins.px)
    if sheet is not None and not sheet.holds_most(pins.px):
        sheet = None
    seen = None if sheet is None else sheet.partly(options)
    settled = settle_marks(pins, names, seen, lens, options)
    fit = settled.fit
    worst_mm = max(r.residual_mm for r in settled.residuals if r.used)
    used = sum(r.used for r in settled.residuals)
    bend = ", lens from the bend of the sheet's edges" if seen is not None else ""
    scale = Scale(
        kind,
        0.0,
        settled.uncertainty,
        settled.residuals,
        fit.lens.k1,
        f"Scale and perspective from {used} {kind}{bend}; largest residual {worst_mm:.2f} mm.",
    )
    whole = None if seen is None or seen.missing(options) else seen
    return _perspective(photograph, fit, whole, scale, settled.findings, options, pins.mm)


def _perspective(
    photograph: Photograph,
    fit: Fit,
    sheet: FoundSheet | None,
    scale: Scale,
    findings: tuple[Finding, ...],
    options: RectifyOptions,
    about_mm: Array | None = None,
) -> Rubbing:
    """Put the rubbing together and say what is doubtful about its perspective."""
    warp, shape = fit.warp, photograph.grey.shape
    paper = None if sheet is None else paper_of(fit.sheet_corners, warp)
    if paper is not None:
        bounds = paper.bounds
    else:
        bounds = bounds_of(warp, shape, fit.base_mm if about_mm is None else about_mm)
    misfit = camera_misfit(warp.matrix, fit.lens.centre_px, float(max(shape)))
    if misfit > options.camera_limit:
        raise ScaleNotFound(
            f"no camera shows a plane as the {scale.reference} given would have it: axes out by "
            f"{100.0 * misfit:.0f} % (limit {100.0 * options.camera_limit:.0f} %); "
            "check the sizes, and that they belong to this picture"
        )
    if misfit > options.camera_misfit:
        doubt = finding_of(Kind.NO_CAMERA, misfit_share=misfit, reference=scale.reference)
        findings = (*findings, doubt)
    if sheet is not None:
        if sheet.turn_doubt:
            findings = (*findings, finding_of(Kind.NEARLY_SQUARE))
        corners_mm = apply(inverse(warp.matrix), fit.sheet_corners)
        findings += _unclear_edges(sheet, corners_mm, options)
        findings += _not_flat(sheet, fit, findings, options)
        findings += _out_of_square(scale.reference, corners_mm, options)
    scale = replace(scale, px_per_mm=mean_scale(warp, bounds))
    return Rubbing(photograph, warp, bounds, paper, scale, findings)


def _unclear_edges(
    sheet: FoundSheet, corners_mm: Array, options: RectifyOptions
) -> tuple[Finding, ...]:
    findings = []
    for side, (first, last) in enumerate(CORNERS):
        share = float(sheet.seen_share[side])
        if share < options.clear_edge_share:
            x, y = (corners_mm[first] + corners_mm[last]) / 2.0
            at = (float(x), float(y))
            findings.append(
                finding_of(Kind.SHEET_EDGE_UNCLEAR, at, side=SIDES[side], seen_share=share)
            )
    return tuple(findings)


def _not_flat(
    sheet: FoundSheet, fit: Fit, reported: tuple[Finding, ...], options: RectifyOptions
) -> tuple[Finding, ...]:
    """Report edges that bow although the lens is known, unless marks showed it already."""
    bow = largest_bow(sheet.sides, fit)
    if bow.size_mm <= options.flat_mm or any(f.code == Code.SHEET_NOT_FLAT for f in reported):
        return ()
    side, limit_mm = SIDES[bow.side], options.flat_mm
    kind = Kind.SHEET_EDGE_BOWS
    return (finding_of(kind, bow.at_mm, side=side, bow_mm=bow.size_mm, limit_mm=limit_mm),)


def _out_of_square(kind: str, corners_mm: Array, options: RectifyOptions) -> tuple[Finding, ...]:
    """Report marks that put the sheet out of square: one of four may be wrong unseen."""
    off_mm = float(np.abs(unsquareness_mm(corners_mm)).max())
    if kind not in ("marks", "targets") or off_mm <= options.squareness_mm:
        return ()
    return (finding_of(Kind.OUT_OF_SQUARE, reference=kind, off_mm=off_mm),)


def _scale_doubts(scale: Scale, options: RectifyOptions) -> tuple[Finding, ...]:
    findings = []
    if scale.px_per_mm < options.least_px_per_mm:
        least = options.least_px_per_mm
        findings.append(
            finding_of(Kind.LOW_RESOLUTION, seen_px_per_mm=scale.px_per_mm, least_px_per_mm=least)
        )
    if scale.relative_uncertainty > options.scale_uncertainty_limit:
        findings.append(
            finding_of(
                Kind.LENGTHS_UNCERTAIN,
                uncertain_share=scale.relative_uncertainty,
                uncertain_mm=scale.relative_uncertainty * _METRE_MM,
                length_mm=_METRE_MM,
            )
        )
    return tuple(findings)
