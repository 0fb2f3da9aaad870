"""Options of finding loose pieces in a photograph."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class LooseOptions(Checked):
    """How loose pieces are found and outlined in a photograph."""

    glass_mm: float = value(0.0, 0.0, 25.0, "thickness of the glass; 0 takes no shift out")
    camera_mm: float = value(0.0, 0.0, 1e5, "height of the camera over the table; 0 is unknown")
    assumed_glass_mm: float = value(3.0, 0.5, 25.0, "of unstated thickness; common practice")
    assumed_focus: float = value(0.8, 0.2, 20.0, "diagonals of the picture; a common wide lens")
    stated_share: float = value(0.15, 0.0, 1.0, "of a shift taken out: glass and height are round")
    work_px_per_mm: float = value(3.0, 1.0, 20.0, "a rim 1 mm wide still shows; fewer are slow")
    smallest_mm2: float = value(60.0, 1.0, 1e5, "a fragment of 8 by 8 mm; less is dirt")
    narrowest_mm: float = value(3.0, 0.5, 50.0, "glass cannot be cut narrower")
    longest_mm: float = value(900.0, 20.0, 1e5, "longer than any piece of a leaded window")
    blur_mm: float = value(0.25, 0.05, 2.0, "of the working picture; a rim must not vanish in it")
    edge_noise: float = value(7.0, 2.0, 50.0, "times the steps of the bare ground: an edge")
    edge_least: float = value(0.02, 0.002, 0.5, "of full white per mm: what the eye sees as one")
    off_noise: float = value(6.0, 2.0, 50.0, "times the noise of the bare ground: another colour")
    off_least: float = value(0.035, 0.005, 0.5, "of full white; a ground is not more even")
    shadow_least: float = value(0.3, 0.0, 1.0, "of the light is left in the shadow beside glass")
    shadow_mm: float = value(3.0, 0.0, 20.0, "shadow of common glass: under a lamp at 45 degrees")
    gap_mm: float = value(2.5, 0.0, 20.0, "gaps in a rim up to this wide are closed")
    reach_mm: float = value(4.0, 0.3, 10.0, "so far outside of strong paint an edge is looked for")
    profile_mm: float = value(0.4, 0.1, 2.0, "between profiles across an edge: finer than a chip")
    outermost: float = value(0.3, 0.05, 1.0, "of the strongest step: the glass begins out there")
    sharp: float = value(0.55, 0.1, 1.0, "of the sharpest edges: less is the rim of a shadow")
    corner_deg: float = value(30.0, 10.0, 90.0, "a sharper bend within 2 mm is a corner")
    notch_mm: float = value(1.5, 0.3, 20.0, "a notch less deep is a chip, which may be 1.5 mm")
    notch_deg: float = value(25.0, 5.0, 90.0, "turn of an outline at a notch where glass touches")
    neck: float = value(0.45, 0.05, 1.0, "of the outline of the smaller part: glass is compact")
    seam: float = value(2.0, 1.0, 20.0, "times the steps inside the glass: an edge lies there")
    ruler: float = value(6.0, 2.0, 50.0, "lengths to a width, with divisions: a ruler")
    bar: float = value(16.0, 4.0, 100.0, "lengths to a width, straight: a rule, rod or lath")
    surround: float = value(0.2, 0.02, 1.0, "of the picture's rim is covered: not glass, the room")
