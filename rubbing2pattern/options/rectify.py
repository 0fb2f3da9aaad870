"""Options of finding scale and perspective."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True, slots=True)
class RectifyOptions(Checked):
    """How references are trusted, and how the sheet is found."""

    # fmt: off
    dpi_uncertainty: float = value(
        0.001,
        0.0,
        0.05,
        "a scanner's own calibration; feeds differ by about 0.1 % from the maker's",
        "How wrong a resolution given with --dpi may be, as a share of every length.",
    )
    reading_px: float = value(
        0.5, 0.05, 50.0,
        "how well a place is pointed at in an enlarged picture: to a pixel at most",
        "How exactly marks of --ruler and --marks are pointed at; more makes the scale less sure.",
    )
    ruler_uncertainty_mm: float = value(
        0.1, 0.001, 10.0, "a steel rule's own divisions, when both ends are read in the picture",
        "How exactly the length of --ruler is measured; more makes the scale less sure.",
    )
    mark_uncertainty_mm: float = value(
        0.15, 0.001, 10.0, "a steel rule read to half a millimetre, one standard deviation",
        "How exactly marks, and distances between targets, are measured on the sheet.",
    )
    sheet_uncertainty_mm: float = value(
        0.2,
        0.001,
        20.0,
        "a sheet cut and measured with a steel rule, each side; one of trade size that was not"
        " measured may be 1 mm off",
        "How exactly each side of --sheet is measured; more makes the scale less sure.",
    )
    squareness_mm: float = value(
        3.0,
        0.01,
        50.0,
        "how far a corner of a sheet cut by hand lies from where right angles put it; weak beside"
        " marks and targets",
        "Marks or targets that put the sheet further out of square give a finding.",
    )
    lens_k1: float = value(
        0.03,
        0.0001,
        0.3,
        "spread of the radial coefficient that is assumed when nothing shows it; phones correct"
        " most of it themselves",
        "How strongly a lens is expected to bend straight edges before the picture shows it.",
    )
    lens_k2: float = value(
        0.01,
        0.0001,
        0.3,
        "spread of the second radial coefficient, which is not taken out but counts as a doubt",
        "How strong the part of a lens's bend may be that stays in; it adds to the uncertainty.",
    )
    target_reading_px: float = value(
        0.15, 0.01, 50.0, "how well the edges of a printed target are found in a sharp picture",
        "How exactly corners of printed targets are found; more makes the scale less sure.",
    )
    target_shape: float = value(
        0.002, 0.0001, 0.1, "printers stretch one way by 0.2 %; nothing else makes targets oblong",
        "How far printed targets may be from square, as a share of their side.",
    )
    least_k1: float = value(
        0.003, 0.0, 0.1, "a weaker lens moves nothing by more than 0.3 % of half the diagonal",
        "On a flat scan a weaker bend by the lens is left as it is.",
    )
    flat_limit: float = value(
        0.004, 0.0, 0.1, "opposite sides of a cut sheet are equal within 3 mm on 800",
        "A flat scan whose sheet is further out of true, as a share, gives a finding.",
    )
    camera_misfit: float = value(
        0.02,
        0.001,
        0.5,
        "a perspective that no camera makes comes from a wrong size or mark; cutting a picture"
        " brings up to two per cent",
        "A perspective further from what a camera makes, as a share, gives a finding.",
    )
    camera_limit: float = value(
        0.15, 0.01, 2.0, "so far from any camera, the reference belongs to another picture",
        "A perspective further from what a camera makes, as a share, stops the run.",
    )
    misfit_mm: float = value(
        2.0, 0.05, 50.0, "a mark further off than this was read or typed wrongly",
        "A mark that disagrees by more is left out, and the run stops if too few are left.",
    )
    curl_mm: float = value(
        6.0,
        0.05,
        50.0,
        "a corner that stands up by 10 mm, seen at 30 degrees, is shifted by 6 mm: no mark is left"
        " out for less",
        "With spare marks they may disagree by this much, as on a curled sheet; more stops the "
        "run.",
    )
    flat_mm: float = value(
        0.75,
        0.05,
        50.0,
        "edges of a sheet that lies flat are straight, and marks on it agree, within three times"
        " what cutting and reading them leaves",
        "Edges that bow, or marks that disagree, by more give the finding of a curled sheet.",
    )
    excluded_share: float = value(
        0.34, 0.0, 0.49, "when more than a third of the marks disagree, none can be trusted",
        "With a greater share of the marks left out the run stops.",
    )
    least_px_per_mm: float = value(
        3.0, 0.5, 20.0, "below three pixels in a millimetre a width is uncertain by 0.3 mm",
        "A coarser picture gives the finding that widths are uncertain.",
    )
    least_side_mm: float = value(
        20.0, 1.0, 1000.0, "the smallest panel has 60 mm; a third of it is left for one cut off",
        "A picture that shows less than this both ways stops the run: its scale is wrong.",
    )
    most_m2: float = value(
        16.0, 0.1, 400.0, "rubbings are made panel by panel, or of a light of 5 by 1 m at most",
        "A picture that shows more than this stops the run: its scale is wrong.",
    )
    scale_uncertainty_limit: float = value(
        0.002, 0.0001, 0.1, "0.2 % is 2 mm on a metre, as much as a glass has play in its lead",
        "A less certain scale gives a finding, as a share of any length.",
    )
    least_sheet_share: float = value(
        0.12, 0.02, 0.9, "a sheet that covers less of the picture has too few pixels to be read",
        "A sheet that covers a smaller share of the picture is not found.",
    )
    edge_share: float = value(
        0.3, 0.1, 1.0, "by chance a fifth of the profiles across a side meet something on its line",
        "A side of the sheet that is seen on a smaller share of its length counts as not found.",
    )
    clear_edge_share: float = value(
        0.5, 0.1, 1.0, "an edge that is seen along less than half of its side is reported",
        "A side of the sheet that is seen on a smaller share of its length gives a finding.",
    )
