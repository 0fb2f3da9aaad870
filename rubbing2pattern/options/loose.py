"""Options of finding loose pieces in a photograph."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class LooseOptions(Checked):
    """How loose pieces are found and outlined in a photograph."""

    # fmt: off
    glass_mm: float = value(0.0, 0.0, 25.0, "thickness of the glass; 0 takes no shift out",
        "Thickness of the loose glass; with camera_mm its shift is taken out of the outlines.")
    camera_mm: float = value(0.0, 0.0, 1e5, "height of the camera over the table; 0 is unknown",
        "Height of the camera; with glass_mm the shift by the glass is taken out of the outlines.")
    assumed_glass_mm: float = value(3.0, 0.5, 25.0, "of unstated thickness; common practice",
        "Thickness of glass for the uncertainty of outlines where none is stated.")
    assumed_focus: float = value(0.8, 0.2, 20.0, "diagonals of the picture; a common wide lens",
        "Focal length of the camera where its height is not stated.")
    stated_share: float = value(0.15, 0.0, 1.0, "of a shift taken out: glass and height are round",
        "Share of a shift that was taken out which stays as uncertainty of an outline.")
    work_px_per_mm: float = value(3.0, 1.0, 20.0, "a rim 1 mm wide still shows; fewer are slow",
        "Resolution at which pieces are looked for; more takes longer.")
    smallest_mm2: float = value(60.0, 1.0, 1e5, "a fragment of 8 by 8 mm; less is dirt",
        "Smaller things on the table are not taken for glass.")
    narrowest_mm: float = value(3.0, 0.5, 50.0, "glass cannot be cut narrower",
        "Narrower things are not taken for glass, and narrower necks are where pieces touch.")
    longest_mm: float = value(900.0, 20.0, 1e5, "longer than any piece of a leaded window",
        "Longer things on the table are not taken for glass.")
    blur_mm: float = value(0.25, 0.05, 2.0, "of the working picture; a rim must not vanish in it",
        "How much the picture is softened before pieces are looked for.")
    edge_noise: float = value(7.0, 2.0, 50.0, "times the steps of the bare ground: an edge",
        "How far above the grain of the ground a step must be to be an edge.")
    edge_least: float = value(0.02, 0.002, 0.5, "of full white per mm: what the eye sees as one",
        "A weaker step of brightness is not an edge, however even the ground.")
    off_noise: float = value(6.0, 2.0, 50.0, "times the noise of the bare ground: another colour",
        "How far above the noise of the ground a colour must differ to be glass.")
    off_least: float = value(0.035, 0.005, 0.5, "of full white; a ground is not more even",
        "A smaller difference of colour is not glass, however even the ground.")
    shadow_least: float = value(0.3, 0.0, 1.0, "of the light is left in the shadow beside glass",
        "Ground that is darker than this share of the light is not taken for shadow.")
    shadow_mm: float = value(3.0, 0.0, 20.0, "shadow of common glass: under a lamp at 45 degrees",
        "How far inside a found rim the edge of the glass is looked for, past its shadow.")
    gap_mm: float = value(2.5, 0.0, 20.0, "gaps in a rim up to this wide are closed",
        "Wider gaps in a rim stay open; pieces must lie further apart than this.")
    reach_mm: float = value(4.0, 0.3, 10.0, "so far outside of strong paint an edge is looked for",
        "How far outside a found rim the edge of the glass is looked for.")
    profile_mm: float = value(0.4, 0.1, 2.0, "between profiles across an edge: finer than a chip",
        "Distance between the profiles by which an outline is settled; less takes longer.")
    outermost: float = value(0.3, 0.05, 1.0, "of the strongest step: the glass begins out there",
        "Share of the strongest step from which one further out is the edge of the glass.")
    sharp: float = value(0.55, 0.1, 1.0, "of the sharpest edges: less is the rim of a shadow",
        "Steps less sharp than this share of the sharpest count less, as the rim of a shadow.")
    corner_deg: float = value(30.0, 10.0, 90.0, "a sharper bend within 2 mm is a corner",
        "A sharper bend of an outline is a corner.")
    notch_mm: float = value(1.5, 0.3, 20.0, "a notch less deep is a chip, which may be 1.5 mm",
        "Only a deeper notch can be where two pieces touch.")
    notch_deg: float = value(25.0, 5.0, 90.0, "turn of an outline at a notch where glass touches",
        "Only a sharper notch can be where two pieces touch.")
    neck: float = value(0.45, 0.05, 1.0, "of the outline of the smaller part: glass is compact",
        "Pieces are not separated at a neck longer than this share of the smaller one's outline.")
    seam: float = value(2.0, 1.0, 20.0, "times the steps inside the glass: an edge lies there",
        "Pieces are separated where steps across a neck are this many times those in the glass.")
    ruler: float = value(6.0, 2.0, 50.0, "lengths to a width, with divisions: a ruler",
        "A thing this many times as long as wide, with divisions, is a ruler.")
    bar: float = value(16.0, 4.0, 100.0, "lengths to a width, straight: a rule, rod or lath",
        "A straight thing this many times as long as wide is not glass.")
    surround: float = value(0.2, 0.02, 1.0, "of the picture's rim is covered: not glass, the room",
        "What covers a greater share of the picture's rim is the room, not glass.")
