"""Options of finding where two papers were joined out of register."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True, slots=True)
class JoiningOptions(Checked):
    """How a seam is looked for, and when it is believed."""

    # fmt: off
    short_mm: float = value(6.0, 1.0, 20.0, "two T joints this near are one crossing to the eye",
        "Shorter leads count as part of a joint when courses are followed through it.")
    joint_mm: float = value(4.0, 1.0, 20.0, "as far as solder pulls a lead line of the map",
        "This much of a lead beside a joint is not read for jogs.")
    turn_deg: float = value(15.0, 2.0, 45.0, "a lead that runs through a joint bends less",
        "Leads that turn by less at a joint are followed as one.")
    heading_mm: float = value(12.0, 4.0, 40.0, "from there a lead line's direction is sure",
        "Length over which a lead's direction at a joint is taken.")
    seen_above: float = value(0.4, 0.05, 0.9, "of the map; less is bridged or doubtful",
        "Places of a lead below this value of the map are not read for jogs.")
    ridge_mm: float = value(1.5, 0.5, 5.0, "the map's lead line is as wide, either way",
        "How far across a path its lead line on the map is looked for.")
    long_mm: float = value(28.0, 10.0, 80.0, "course on either side; a parabola follows it so far",
        "Longest stretch on either side by which a jog is read on the map.")
    middle_mm: float = value(14.0, 5.0, 40.0, "the same where leads are short or bent",
        "Middle stretch on either side by which a jog is read on the map.")
    small_mm: float = value(9.0, 4.0, 20.0, "the same between small pieces",
        "Shortest stretch on either side by which a jog is read on the map.")
    skip_mm: float = value(2.5, 0.5, 10.0, "the map rounds a jog off as far as this, profiles too",
        "This much on either side of a place is left out when its jog is read.")
    clean: float = value(0.32, 0.1, 0.8, "of a window's side that must be clean",
        "A jog is read only where this share of the stretch is clean lead.")
    course_mm: float = value(0.1, 0.01, 1.0, "how far a course wavers on a map of half millimetres",
        "Least wavering of a lead; more makes every jog on the map less certain.")
    alike_mm: float = value(4.0, 0.5, 30.0, "wavering is alike over such a length",
        "Over what length a lead wavers alike; more makes every jog on the map less certain.")
    most_mm: float = value(
        4.5, 1.0, 20.0, "a greater jog is a corner or another lead; no sheet is moved more",
        "Greater jogs, and greater slips of the papers, are not believed.",
    )
    strip_mm: float = value(1.0, 0.25, 5.0, "half of a strip whose readings are taken together",
        "Half the width of the strips in which jogs are summed in the search for a seam.")
    tilt_deg: float = value(2.5, 0.0, 20.0, "papers are joined along the edge of a sheet",
        "Seams tilted further from upright or level are not found.")
    tilt_step_deg: float = value(0.5, 0.1, 5.0, "2.5 mm over half a sheet, as wide as a jog shows",
        "Step of tilt in the search for a seam; less takes longer.")
    square_deg: float = value(27.0, 5.0, 60.0, "a lead that runs nearer along a seam says little",
        "Leads that run nearer along a seam do not count in the search on the map.")
    near_square_deg: float = value(20.0, 5.0, 60.0, "the same where the picture is measured",
        "Leads that run nearer along a seam are not measured in the picture.")
    shift_mm: float = value(1.5, 0.1, 10.0, "how far papers slip, one standard deviation",
        "How far papers are expected to slip; less asks for more evidence of a great slip.")
    turn_mrad: float = value(2.0, 0.1, 20.0, "how far they turn, one standard deviation",
        "How far papers are expected to turn, in thousandths of a radian.")
    outlier: float = value(2.0, 1.0, 5.0, "deviations from which a reading loses weight",
        "From this many deviations on, a lead that disagrees loses its say.")
    agrees: float = value(2.5, 1.0, 5.0, "deviations up to which a lead agrees with a motion",
        "Within this many deviations a lead counts as agreeing with the slip.")
    places: int = value(5, 1, 50, "seams that are measured in the picture",
        "How many candidate seams are measured in the picture; more take longer.")
    apart_mm: float = value(7.0, 1.0, 50.0, "seams nearer to each other are one",
        "Candidate seams nearer to each other count as one.")
    worth: float = value(3.0, 0.0, 50.0, "evidence on the map, from which the picture is measured",
        "A candidate seam with less evidence on the map is not measured in the picture.")
    reach_mm: float = value(
        45.0, 20.0, 150.0, "leads this near to a seam are measured in the picture",
        "Leads that come this near to a candidate seam are measured in the picture.",
    )
    track_mm: float = value(0.05, 0.01, 0.5, "how far a lead wavers about a parabola at least",
        "Least wavering of a lead in the picture; more makes every measured jog less certain.")
    leaves_mm: float = value(0.08, 0.0, 0.5, "leads are not straight by more over a window",
        "How far leads bend on their own; more makes every measured jog less certain.")
    track_doubt: float = value(1.4, 1.0, 5.0, "slow wavering adds so much doubt to a jog",
        "By what factor measured jogs are less certain than their wavering alone says.")
    track_window_mm: float = value(
        25.0, 8.0, 80.0, "course on either side, measured in the picture",
        "Length on either side of the seam over which a lead is measured.",
    )
    track_clean: int = value(6, 3, 40, "places of it that must be clean",
        "A lead with fewer clean places on either side of the seam is not measured.")
    hold: float = value(1.0, 0.0, 1e6, "places that say a lead does not bend and bend back",
        "How strongly a lead is kept from bending and bending back at the seam.")
    strip_edge_mm: float = value(1.2, 0.4, 3.0, "beside a leaf, by which its edge is found",
        "Room beside a leaf's edge that is left out where a lead crosses the seam at a slant.")
    solder: float = value(0.5, 0.2, 1.0, "of a lead's width: how far solder reaches from a joint",
        "Share of a lead's width that is left out beside a joint as solder.")
    solder_mm: float = value(1.5, 0.0, 5.0, "added to it",
        "Length that is left out beside a joint in addition.")
    seam_mm: float = value(2.0, 0.2, 10.0, "how well the map places a seam",
        "How far the steps of the leads may move a seam from where the map places it.")
    seam_tilt_deg: float = value(0.7, 0.05, 5.0, "how well the map tilts it",
        "How far the steps of the leads may tilt a seam from what the map says.")
    step_mm: float = value(0.7, 0.1, 5.0, "how well a step is placed along a lead",
        "How exactly a step places the seam; more leaves the seam nearer to the map's place.")
    clear_step: float = value(5.0, 2.0, 20.0, "deviations; a smaller step has no sure place",
        "Only steps this many deviations high help to place the seam.")
    beside_mm: float = value(
        5.0, 0.0, 20.0, "how far from the seam on the map a step is looked for",
        "How far from the map's seam the step of a lead is looked for.",
    )
    evidence: float = value(8.5, 3.0, 100.0, "logarithm of the odds that the papers slipped",
        "A slip with less evidence is not believed, and the papers stay as they lie.")
    least_mm: float = value(0.4, 0.1, 3.0, "less is the play of paper and lead",
        "A smaller slip of the papers is left as it is.")
    against: float = value(
        0.34, 0.0, 0.5, "of the leads that may disagree; one in three is misread",
        "A slip is not believed when a greater share of its leads disagrees.",
    )
    reported_mm: float = value(0.5, 0.05, 5.0, "a shift known no better is reported as unknown",
        "The finding of a join says how uncertain its gap is when that is more.")
