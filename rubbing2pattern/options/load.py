"""Options of loading a picture."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True, slots=True)
class LoadOptions(Checked):
    """What counts as a picture of a rubbing."""

    # fmt: off
    size_limit_mp: float = value(
        400.0,
        0.01,
        4000.0,
        "a sheet of 1.2 by 0.8 m scanned at 400 dpi has 240 megapixels; beyond 400 a header is"
        " more likely damaged or made to fill the memory than true",
        "A picture with more megapixels is refused before it fills the memory.",
    )
    smallest_side_px: int = value(
        200,
        16,
        10000,
        "with fewer pixels a panel of 600 mm has leads of less than two pixels",
        "A picture with a shorter side is refused as too coarse.",
    )
    colour_gain: float = value(
        1.5,
        1.0,
        100.0,
        "times that ink stands out more than in luma before other weights of the colours are taken;"
        " a smaller gain changes nothing",
        "Another mix of red, green and blue makes the grey only if ink stands out this much more.",
    )
