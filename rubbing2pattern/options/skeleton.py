"""Options of the skeleton."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class SkeletonOptions(Checked):
    """How basins of glass and lead lines are found on the map of lead."""

    # fmt: off
    glass_below: float = value(0.15, 0.01, 0.6, "a lead line that fades shows more than this",
        "Places below this value of the map count as glass, from which pieces are grown.")
    leaf_share: float = value(0.1, 0.0, 1.0, "the lead line decides, its leaf settles wide joints",
        "How much the leaf counts beside the lead line where the borders of pieces are drawn.")
    neck: float = value(0.6, 0.2, 0.98, "a neck narrower than this share of its basin parts it",
        "Glass that narrows to less than this share of its width is tried as two pieces.")
    smallest_mm: float = value(1.0, 0.3, 5.0, "radius of the smallest glass basin that counts",
        "A patch of glass with a smaller radius is not tried as a piece.")
    many_openings: int = value(1500, 100, 1_000_000, "panels have hundreds of pieces at most",
        "A picture with fewer openings is not refused for how dense they are.")
    most_openings_m2: float = value(4500.0, 500.0, 1e6,
        "pieces of 15 by 15 mm with their leads; the densest rubbings drawn for tests have 1,800",
        "A picture with many openings, and more than these in a square metre, is refused.")
    branch_above: float = value(0.5, 0.1, 1.0, "a lead that ends freely must be likelier than not",
        "A lead that ends freely is followed only above this value of the map.")
    branch_length_mm: float = value(8.0, 3.0, 60.0, "shorter branches are frayed edges",
        "Shorter leads that end freely are left out.")
    branch_clear_mm: float = value(2.5, 0.0, 10.0, "nearer, a line that is there already shows",
        "A lead that ends freely counts only this far from the leads around it.")
