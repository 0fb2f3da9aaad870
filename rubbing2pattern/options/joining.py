"""Options of finding where two papers were joined out of register."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True, slots=True)
class JoiningOptions(Checked):
    """How a seam is looked for, and when it is believed."""

    short_mm: float = value(6.0, 1.0, 20.0, "two T joints this near are one crossing to the eye")
    joint_mm: float = value(4.0, 1.0, 20.0, "as far as solder pulls a lead line of the map")
    turn_deg: float = value(15.0, 2.0, 45.0, "a lead that runs through a joint bends less")
    heading_mm: float = value(12.0, 4.0, 40.0, "from there a lead line's direction is sure")
    seen_above: float = value(0.4, 0.05, 0.9, "of the map; less is bridged or doubtful")
    ridge_mm: float = value(1.5, 0.5, 5.0, "the map's lead line is as wide, either way")
    long_mm: float = value(28.0, 10.0, 80.0, "course on either side; a parabola follows it so far")
    middle_mm: float = value(14.0, 5.0, 40.0, "the same where leads are short or bent")
    small_mm: float = value(9.0, 4.0, 20.0, "the same between small pieces")
    skip_mm: float = value(2.5, 0.5, 10.0, "the map rounds a jog off as far as this, profiles too")
    clean: float = value(0.32, 0.1, 0.8, "of a window's side that must be clean")
    course_mm: float = value(0.1, 0.01, 1.0, "how far a course wavers on a map of half millimetres")
    alike_mm: float = value(4.0, 0.5, 30.0, "wavering is alike over such a length")
    most_mm: float = value(
        4.5, 1.0, 20.0, "a greater jog is a corner or another lead; no sheet is moved more"
    )
    strip_mm: float = value(1.0, 0.25, 5.0, "half of a strip whose readings are taken together")
    tilt_deg: float = value(2.5, 0.0, 20.0, "papers are joined along the edge of a sheet")
    tilt_step_deg: float = value(0.5, 0.1, 5.0, "2.5 mm over half a sheet, as wide as a jog shows")
    square_deg: float = value(27.0, 5.0, 60.0, "a lead that runs nearer along a seam says little")
    near_square_deg: float = value(20.0, 5.0, 60.0, "the same where the picture is measured")
    shift_mm: float = value(1.5, 0.1, 10.0, "how far papers slip, one standard deviation")
    turn_mrad: float = value(2.0, 0.1, 20.0, "how far they turn, one standard deviation")
    outlier: float = value(2.0, 1.0, 5.0, "deviations from which a reading loses weight")
    agrees: float = value(2.5, 1.0, 5.0, "deviations up to which a lead agrees with a motion")
    places: int = value(5, 1, 50, "seams that are measured in the picture")
    apart_mm: float = value(7.0, 1.0, 50.0, "seams nearer to each other are one")
    worth: float = value(3.0, 0.0, 50.0, "evidence on the map, from which the picture is measured")
    reach_mm: float = value(
        45.0, 20.0, 150.0, "leads this near to a seam are measured in the picture"
    )
    track_mm: float = value(0.05, 0.01, 0.5, "how far a lead wavers about a parabola at least")
    leaves_mm: float = value(0.08, 0.0, 0.5, "leads are not straight by more over a window")
    track_doubt: float = value(1.4, 1.0, 5.0, "what wavers slowly is doubted by so much more")
    track_window_mm: float = value(
        25.0, 8.0, 80.0, "course on either side, measured in the picture"
    )
    track_clean: int = value(6, 3, 40, "places of it that must be clean")
    hold: float = value(1.0, 0.0, 1e6, "places that say a lead does not bend and bend back")
    strip_edge_mm: float = value(1.2, 0.4, 3.0, "beside a leaf, by which its edge is found")
    solder: float = value(0.5, 0.2, 1.0, "of a lead's width: how far solder reaches from a joint")
    solder_mm: float = value(1.5, 0.0, 5.0, "added to it")
    seam_mm: float = value(2.0, 0.2, 10.0, "how well the map places a seam")
    seam_tilt_deg: float = value(0.7, 0.05, 5.0, "how well the map tilts it")
    step_mm: float = value(0.7, 0.1, 5.0, "how well a step is placed along a lead")
    clear_step: float = value(5.0, 2.0, 20.0, "deviations; a smaller step has no sure place")
    beside_mm: float = value(
        5.0, 0.0, 20.0, "how far from the seam on the map a step is looked for"
    )
    evidence: float = value(7.5, 3.0, 100.0, "logarithm of the odds that the papers slipped")
    least_mm: float = value(0.4, 0.1, 3.0, "less is the play of paper and lead")
    against: float = value(
        0.34, 0.0, 0.5, "of the leads that may disagree; one in three is misread"
    )
    told_mm: float = value(0.5, 0.05, 5.0, "a shift known no better is said to be unknown")
