"""Options of the skeleton."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class SkeletonOptions(Checked):
    """How basins of glass and lead lines are found on the map of lead."""

    darkness_share: float = value(0.25, 0.0, 1.0, "bands decide, darkness settles their middle")
    blur_mm: float = value(
        1.2, 0.2, 5.0, "without it a wide lead is a plateau and its line wanders"
    )
    glass_below: float = value(0.12, 0.01, 0.6, "low on purpose: too many basins, weighed later")
    pale_below: float = value(0.2, 0.0, 0.6, "share of the local strength no lead falls below")
    pale_blur_mm: float = value(0.5, 0.1, 2.0, "the grain of the paper must not count")
    neck: float = value(0.72, 0.3, 0.98, "a neck narrower than this share of its basin parts it")
    smallest_mm: float = value(0.8, 0.3, 5.0, "radius of the smallest glass basin that counts")
    branch_above: float = value(0.45, 0.1, 1.0, "a lead that ends freely must be clearly seen")
    branch_length_mm: float = value(8.0, 3.0, 60.0, "shorter branches are frayed edges")
    branch_clear_mm: float = value(1.5, 0.0, 10.0, "kept from lines already there")
