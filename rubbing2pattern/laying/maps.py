"""What a learned map says of every cell of the working grid."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.reading import Grid, LeadMap


@dataclass(frozen=True, slots=True)
class LeadMaps:
    """Maps on the frame of a `LeadMap`, (H, W) each; what is None is not used.

    Attributes
    ----------
    centre, leaf, joint : probabilities that a cell lies on a lead line, a leaf, a joint.
    cos2, sin2 : direction of the lead line, twice its angle.
    width_mm : face width of the lead.
    """

    centre: Grid
    leaf: Grid | None = None
    joint: Grid | None = None
    cos2: Grid | None = None
    sin2: Grid | None = None
    width_mm: Grid | None = None

    @classmethod
    def of(cls, lead: LeadMap) -> LeadMaps:
        """Return what the network sees; the directions as angles in mm, y up."""
        m = lead.maps
        return cls(m.centre, m.leaf, m.joint, m.cosine, -m.sine, m.width_mm)
