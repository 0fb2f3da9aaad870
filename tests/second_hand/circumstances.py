"""What befell one rubbing: the state of the lead, the rubber, the paper, the maker's care.

A tier sets ranges; the seed draws from them.
"""

from __future__ import annotations

from dataclasses import dataclass

from tests.second_hand.leadwork import Rng

TIERS = ("clean", "everyday", "hard")

PAPERS = {
    "white": (0.87, 0.86, 0.83),
    "cream": (0.86, 0.81, 0.68),
    "buff": (0.70, 0.60, 0.44),
    "kraft": (0.50, 0.37, 0.24),
    "tracing": (0.78, 0.79, 0.76),
    "squared": (0.87, 0.87, 0.85),
}
WAXES = {
    "black": (1.0, 1.0, 1.0),
    "grey": (0.92, 0.94, 1.0),
    "red": (0.28, 1.0, 0.95),
    "blue": (1.0, 0.72, 0.34),
    "brown": (0.62, 0.9, 1.05),
    "green": (1.0, 0.5, 0.85),
    "sepia": (0.72, 0.9, 1.05),
}
"""Share of the density in red, green and blue light."""


@dataclass(frozen=True, slots=True)
class Circumstances:
    """All that is drawn once for a rubbing; lengths in mm, shares of 1 without a unit.

    Attributes
    ----------
    paper, wax : names in `PAPERS` and `WAXES`.
    density : greatest density of the wax (natural logarithm).
    tooth_mm, laid : size of the paper's fibres; whether it shows laid lines.
    strokes : kinds of strokes: "along", "zigzag", "scrub".
    care : 0 to 1, how even the strokes are.
    overrun_mm : how far the strokes run past the panel.
    softness_mm : how far the pad gives.
    stiffness_mm : how far the paper bridges an edge.
    worn_mm : height lost along worn stretches; `worn_share` of the length.
    hollow_mm, tilt_mm, uneven_mm : dish of the faces, lean to one side, roughness along a lead.
    cracks_per_m, solder_mm, cement_mm : cracks, height of solder, height of cement ridges.
    shift_mm : how far the paper slipped between two passes.
    smear_mm, smear_share : wax dragged along the stroke.
    drag : load that any place takes on which the paper lies, glass and bench too.
    halo, dirt, texture : oily halo, finger marks, textured glass.
    scribbles, notes : numbers a piece carries (share), things in the margin.
    missed : number of patches missed; folds, crumple, stains, erased : their number or strength.
    join_mm, oblique_deg, curl_mm, holes : of the sheet.
    tilt_deg, bend, misfit_mm : camera: tilt, radial distortion, what a one-term lens leaves over.
    quality : of the JPEG.
    """

    paper: str
    wax: str
    density: float
    tooth_mm: float
    laid: bool
    strokes: tuple[str, ...]
    care: float
    overrun_mm: float
    softness_mm: float
    stiffness_mm: float
    worn_mm: float
    worn_share: float
    hollow_mm: float
    tilt_mm: float
    uneven_mm: float
    cracks_per_m: float
    solder_mm: float
    cement_mm: float
    shift_mm: float
    smear_mm: float
    smear_share: float
    drag: float
    halo: float
    dirt: int
    texture: float
    scribbles: float
    notes: int
    missed: int
    folds: int
    crumple: float
    stains: int
    erased: int
    join_mm: float
    oblique_deg: float
    curl_mm: float
    holes: int
    tilt_deg: float
    bend: float
    misfit_mm: float
    quality: int


RANGES = {
    "density": ((1.5, 2.4), (1.2, 2.3), (0.8, 1.9)),
    "tooth_mm": ((0.15, 0.3), (0.2, 0.42), (0.25, 0.55)),
    "care": ((0.8, 0.95), (0.5, 0.8), (0.15, 0.5)),
    "overrun_mm": ((4, 10), (6, 24), (8, 40)),
    "softness_mm": ((0.35, 0.5), (0.3, 0.6), (0.28, 0.75)),
    "stiffness_mm": ((0.2, 0.4), (0.25, 0.6), (0.3, 0.8)),
    "worn_mm": ((0.1, 0.2), (0.2, 0.45), (0.3, 0.65)),
    "worn_share": ((0.0, 0.01), (0.02, 0.07), (0.06, 0.15)),
    "hollow_mm": ((0.0, 0.1), (0.0, 0.28), (0.0, 0.42)),
    "tilt_mm": ((0.0, 0.08), (0.0, 0.2), (0.05, 0.34)),
    "uneven_mm": ((0.02, 0.05), (0.04, 0.11), (0.08, 0.18)),
    "cracks_per_m": ((0.0, 0.3), (0.3, 1.5), (1.0, 4.0)),
    "solder_mm": ((0.08, 0.25), (0.12, 0.45), (0.2, 0.7)),
    "cement_mm": ((0.0, 0.2), (0.0, 0.5), (0.1, 0.8)),
    "shift_mm": ((0.0, 0.08), (0.0, 0.2), (0.0, 0.5)),
    "smear_mm": ((0.8, 1.5), (1.0, 3.0), (1.5, 5.0)),
    "smear_share": ((0.02, 0.08), (0.05, 0.2), (0.08, 0.3)),
    "drag": ((0.0, 0.05), (0.0, 0.16), (0.02, 0.26)),
    "halo": ((0.0, 0.03), (0.0, 0.08), (0.02, 0.14)),
    "texture": ((0.0, 0.2), (0.0, 0.7), (0.1, 1.0)),
    "crumple": ((0.0, 0.04), (0.0, 0.25), (0.05, 0.6)),
    "tilt_deg": ((1, 8), (2, 14), (4, 22)),
    "bend": ((-0.03, 0.02), (-0.06, 0.05), (-0.09, 0.07)),
    "misfit_mm": ((0.02, 0.12), (0.05, 0.26), (0.1, 0.4)),
}
"""Least and greatest value by tier."""
MOST = {
    "dirt": (1, 4, 9),
    "notes": (3, 6, 8),
    "missed": (0, 3, 8),
    "folds": (0, 2, 4),
    "stains": (0, 1, 3),
    "erased": (0, 1, 3),
}
"""Greatest number by tier."""
QUALITY = ((88, 96), (78, 93), (62, 88))


def circumstances(tier: str, rng: Rng) -> Circumstances:
    """Draw what befell a rubbing of a tier."""
    level = TIERS.index(tier)
    paper = str(rng.choice([*PAPERS], p=(0.36, 0.2, 0.12, 0.12, 0.1, 0.1)))
    wax = str(rng.choice([*WAXES], p=(0.4, 0.16, 0.1, 0.12, 0.08, 0.06, 0.08)))
    if paper in ("buff", "kraft"):
        wax = "black" if wax in ("red", "brown", "green", "sepia") else wax
    kinds = [("along", "scrub"), ("zigzag", "along"), ("scrub", "zigzag"), ("zigzag", "zigzag")]
    if level == 2:
        kinds += [("zigzag",), ("scrub",), ("along",)]
    odd_sheet = str(rng.choice(("", "", "join", "oblique", "curl"))) if level == 2 else ""
    return Circumstances(
        paper=paper,
        wax=wax,
        strokes=kinds[int(rng.integers(len(kinds)))],
        laid=bool(rng.random() < 0.3) and paper in ("cream", "white", "kraft"),
        scribbles=float(rng.choice((0.0, 0.4, 0.9) if level else (0.0, 0.0, 0.5))),
        join_mm=float(rng.uniform(0.5, 2.0)) if odd_sheet == "join" else 0.0,
        oblique_deg=float(rng.uniform(0.4, 1.5)) if odd_sheet == "oblique" else 0.0,
        curl_mm=float(rng.uniform(4, 14)) if odd_sheet == "curl" else 0.0,
        holes=int(rng.choice((0, 0, 2, 4))),
        quality=int(rng.uniform(*QUALITY[level])),
        **{name: float(rng.uniform(*ranges[level])) for name, ranges in RANGES.items()},
        **{name: int(rng.integers(0, most[level] + 1)) for name, most in MOST.items()},
    )
