"""Options of finding scale and perspective."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True, slots=True)
class RectifyOptions(Checked):
    """How references are trusted, and what is taken for the sheet."""

    dpi_uncertainty: float = value(
        0.001,
        0.0,
        0.05,
        "a scanner's own calibration; feeds differ by about 0.1 % from the maker's",
    )
    reading_px: float = value(
        0.5, 0.05, 50.0, "how well a place is pointed at in an enlarged picture: to a pixel at most"
    )
    ruler_uncertainty_mm: float = value(
        0.1, 0.001, 10.0, "a steel rule's own divisions, when both ends are read in the picture"
    )
    mark_uncertainty_mm: float = value(
        0.15, 0.001, 10.0, "a steel rule read to half a millimetre, one standard deviation"
    )
    sheet_uncertainty_mm: float = value(
        0.2,
        0.001,
        20.0,
        "a sheet cut and measured with a steel rule, each side; one of trade size that was not"
        " measured may be 1 mm off",
    )
    squareness_mm: float = value(
        3.0,
        0.01,
        50.0,
        "how far a corner of a sheet cut by hand lies from where right angles put it; weak beside"
        " marks and targets",
    )
    lens_k1: float = value(
        0.03,
        0.0001,
        0.3,
        "spread of the radial coefficient that is assumed when nothing shows it; phones correct"
        " most of it themselves",
    )
    lens_k2: float = value(
        0.01,
        0.0001,
        0.3,
        "spread of the second radial coefficient, which is not taken out but counts as a doubt",
    )
    target_reading_px: float = value(
        0.15, 0.01, 50.0, "how well the edges of a printed target are found in a sharp picture"
    )
    target_shape: float = value(
        0.002, 0.0001, 0.1, "printers stretch one way by 0.2 %; nothing else makes targets oblong"
    )
    least_k1: float = value(
        0.003, 0.0, 0.1, "a weaker lens moves nothing by more than 0.3 % of half the diagonal"
    )
    flat_limit: float = value(
        0.004, 0.0, 0.1, "opposite sides of a cut sheet are equal within 3 mm on 800"
    )
    camera_misfit: float = value(
        0.02,
        0.001,
        0.5,
        "a perspective that no camera makes comes from a wrong size or mark; cutting a picture"
        " brings up to two per cent",
    )
    camera_limit: float = value(
        0.15, 0.01, 2.0, "so far from any camera, the reference belongs to another picture"
    )
    misfit_mm: float = value(
        2.0, 0.05, 50.0, "a mark further off than this was read or typed wrongly"
    )
    curl_mm: float = value(
        6.0,
        0.05,
        50.0,
        "a corner that stands up by 10 mm, seen at 30 degrees, is shifted by 6 mm: no mark is left"
        " out for less",
    )
    flat_mm: float = value(
        0.75,
        0.05,
        50.0,
        "edges of a sheet that lies flat are straight, and marks on it agree, within three times"
        " what cutting and reading them leaves",
    )
    excluded_share: float = value(
        0.34, 0.0, 0.49, "when more than a third of the marks disagree, none can be trusted"
    )
    least_px_per_mm: float = value(
        3.0, 0.5, 20.0, "below three pixels in a millimetre a width is uncertain by 0.3 mm"
    )
    scale_uncertainty_limit: float = value(
        0.002, 0.0001, 0.1, "0.2 % is 2 mm on a metre, as much as a glass has play in its lead"
    )
    least_sheet_share: float = value(
        0.12, 0.02, 0.9, "a sheet that covers less of the picture has too few pixels to be read"
    )
    edge_share: float = value(
        0.3, 0.1, 1.0, "by chance a fifth of the profiles across a side meet something on its line"
    )
    clear_edge_share: float = value(
        0.5, 0.1, 1.0, "an edge that is met along less than half of its side is told of"
    )
