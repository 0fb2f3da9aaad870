"""Options of laying the leads."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class LayingOptions(Checked):
    """How lead lines, runs and joints are fitted to what the rubbing shows."""

    # fmt: off
    step_mm: float = value(1.0, 0.25, 3.0, "finer than the grain of the paper shows nothing new",
        "Step along a lead at which it is read; less takes longer.")
    profile_step_mm: float = value(0.2, 0.05, 0.5, "about a pixel of a scan at 150 dpi",
        "Step across a lead at which it is read; less takes longer.")
    search_mm: float = value(3.4, 0.5, 8.0, "how far a first line may stray from the lead",
        "How far beside a traced line its lead is looked for.")
    strip_mm: float = value(1.2, 0.4, 3.0, "of dark and pale on either side of a leaf's edge",
        "Width of dark and pale that are compared to find a leaf's edge.")
    along_mm: float = value(2.0, 0.5, 10.0, "a profile is the mean of so much either way",
        "Length either way over which the profiles of a lead are averaged.")
    edge_mm: float = value(1.1, 0.2, 3.0, "how far an edge may lie from where it is expected",
        "How far from its expected place a leaf's edge is looked for.")
    least_share: float = value(
        0.8, 0.3, 1.0, "of the width on the map, which 19 of 20 leads keep within an eighth",
        "A lead is not laid narrower than this share of its width on the map.",
    )
    most_share: float = value(1.2, 1.0, 4.0, "the same; beside wide leaves more is read than is",
        "A lead is not laid wider than this share of its width on the map.")
    seen_above: float = value(0.25, 0.05, 0.8, "of the local strength; paper and smears reach it",
        "An edge below this share of the local strength counts as not seen.")
    solder: float = value(0.95, 0.4, 2.0, "of the narrower leads of a joint: radius of its solder",
        "How far from a joint edges count as soldered, as a share of its leads' width.")
    solder_mm: float = value(0.6, 0.0, 3.0, "added to it: a frayed rim, a joint off its place",
        "How far from a joint edges count as soldered, in addition.")
    beside_mm: float = value(0.8, 0.0, 3.0, "nearer to another leaf an edge is not its own",
        "An edge nearer to the leaf of another lead is not used.")
    merged: float = value(
        0.08, 0.0, 1.0, "of the width; with `merged_mm` a wider dark is two leads",
        "Share of its width by which dark may be wider before it counts as two leads.",
    )
    merged_mm: float = value(0.7, 0.1, 5.0, "frayed edges widen a lead by less",
        "Length by which dark may be wider, in addition, before it counts as two leads.")
    fused_mm: float = value(45.0, 10.0, 120.0, "leads that meet at 8 degrees run together as long",
        "Two nodes joined by lead up to this long that never shows clean are laid together.")
    clear_mm: float = value(3.0, 1.0, 10.0, "clean lead that still shows a direction",
        "A lead with less clean length is laid by its traced path, not by its edges.")
    stub_mm: float = value(26.0, 5.0, 60.0, "length over which a direction at a joint is read",
        "Length of lead by which its direction at a joint is read.")
    stub_memory_mm: float = value(12.0, 2.0, 60.0, "what lies three times as far shows little",
        "How fast places count less the farther they lie from the joint.")
    alone_cost: float = value(4.0, 1.0, 50.0, "a misfit of 2.8 deviations: then two are not one",
        "Leads are joined into one through a joint up to this misfit.")
    corner_deg: float = value(35.0, 15.0, 80.0, "a came is not bent sharper than this",
        "A lead that turns by more within a corner's length is cut into two there.")
    chord_mm: float = value(8.0, 3.0, 40.0, "chords before and after a corner",
        "Length on either side by which the turn of a lead at a corner is measured.")
    chord_widths: float = value(1.4, 0.5, 4.0, "a wide lead shows a rounded corner",
        "Least of that length in widths of the lead, for wide leads.")
    corner_mm: float = value(3.0, 1.0, 10.0, "within so much either way a corner has its turn",
        "How far to either side of a corner its turn may reach.")
    corner_share: float = value(0.55, 0.3, 0.9, "so much of it; a bend has half or less",
        "A bend that turns by a smaller share at one place is not a corner.")
    least_round_mm: float = value(20.0, 5.0, 60.0, "no piece of glass is smaller round its rim",
        "Hidden leads that go round more than this are not laid as one joint.")
    close_mm: float = value(2.5, 0.5, 8.0, "two joints nearer than this are one",
        "Joints nearer to each other become one.")
    meet_mm: float = value(1.2, 0.1, 4.0, "leads that pass a place this close meet there",
        "Leads that come this close to one place meet in one joint there.")
    corner_near_mm: float = value(15.0, 3.0, 40.0, "a butt nearer to a corner may share its node",
        "How far from its node a corner with a butt beside it may be laid.")
    noise_mm: float = value(0.06, 0.01, 0.5, "least deviation that counts against a curve",
        "Wavering of a lead that a line or an arc may leave; more draws more of them.")
    noise_share: float = value(0.015, 0.0, 0.1, "of the width: edges of wide leads are found worse",
        "The same as a share of the lead's width.")
    short_doubt_mm: float = value(
        2.0, 0.0, 60.0, "clean lead so long is judged with twice the noise",
        "How much more wavering is allowed where little of a lead is clean.",
    )
    knot_mm: float = value(8.0, 3.0, 30.0, "a came does not bend and bend back within it",
        "Distance of the knots of a free curve; less lets a lead bend more.")
    shared_mm: float = value(4.0, 1.0, 20.0, "edges nearer to each other share their error",
        "Over what length edges err alike; more makes curves less certain.")
    centre_mm: float = value(0.06, 0.01, 0.5, "deviation of the middle between two clean edges",
        "How exactly two clean edges place a lead; less draws curves closer to them.")
    hidden_mm: float = value(0.6, 0.1, 3.0, "deviation of the net's path where nothing is clean",
        "How exactly the traced path places a lead where no edge is clean.")
    ridge_mm: float = value(1.6, 0.5, 4.0, "how far from a laid line the map's ridge is looked for",
        "How far from a laid line the ridge of the map is looked for.")
    ridge_near_mm: float = value(1.0, 0.2, 3.0, "how far from the raw path",
        "How far from a traced path the ridge of the map is looked for.")
    ridge_pull: float = value(0.1, 0.0, 2.0, "a ridge as far as `ridge_mm` must be so much higher",
        "How much a far ridge is held back against a near one.")
    ridge_above: float = value(0.5, 0.1, 0.9, "a lower ridge does not show where a lead is",
        "A ridge below this value of the map does not place a lead.")
    shown_above: float = value(0.3, 0.1, 0.9, "a lower ridge inside a knot need not be drawn",
        "Hidden lead below this value of the map need not be drawn inside a joint.")
    ridge_off_mm: float = value(0.22, 0.05, 1.0, "deviation of the ridge from the lead line",
        "How exactly the ridge places a lead; less draws curves closer to it.")
    ridge_along_mm: float = value(1.0, 0.0, 5.0, "the ridge is the mean of so much either way",
        "Length either way over which the ridge is averaged.")
    ridge_apart_mm: float = value(2.4, 0.5, 6.0, "ridges of leads nearer to each other are one",
        "A ridge nearer to another lead counts less.")
    dense_mm: float = value(0.5, 0.1, 2.0, "points of a curve lie so near each other",
        "How near to each other the points of a laid curve lie.")
    window_mm: float = value(15.0, 3.0, 60.0, "a lead that runs through is looked at so far on",
        "How far past its joint a lead that runs through may be met by others.")
    reach_mm: float = value(25.0, 5.0, 60.0, "an end is carried on so far beyond its joint",
        "How far from its node a joint may be laid; farther ones are laid plainly.")
    beyond_mm: float = value(60.0, 20.0, 200.0, "a curve is prolonged so far; more than any reach",
        "How far curves are prolonged past their last place to meet others.")
    mean_mm: float = value(5.0, 1.0, 20.0, "places nearer to each other are judged by their mean",
        "Length over which misfits are averaged when a line is chosen before a curve.")
    same_mm: float = value(0.05, 0.001, 0.5, "nobody sets a lead more exactly",
        "Joints on a lead this near to its end are its end; no joint is stated more exactly.")
    same_place_mm: float = value(7.0, 2.0, 20.0, "stops of one lead this near are the same place",
        "Places of one lead at a joint that lie nearer to each other are one.")
    plain_mm: float = value(0.1, 0.01, 0.5, "a line or an arc so near to a curve is as good",
        "A free curve this near to a line or an arc is drawn as that.")
    undrawn_mm: float = value(
        0.75, 0.3, 4.0, "what the ridge shows farther from all leads is missing",
        "A joint is laid plainly when lead on the map lies farther from all that is drawn.",
    )
    one_sided: float = value(1.5, 1.0, 5.0, "deviation of a middle by one edge, of that by two",
        "How many times less certain a lead is where one edge alone is seen.")
    odd: float = value(3.0, 1.0, 20.0, "the same where the edges lie apart as in solder",
        "How many times less certain a lead is where its edges lie too far apart.")
    missed_mm: float = value(0.3, 0.05, 2.0, "a curve that misses its joint by more is drawn to it",
        "A lead that misses its joint by more is drawn to it when it is read again.")
    bent_mm: float = value(
        0.7, 0.05, 5.0,
        "a lead that misses its joint by more keeps its course and bends at its end",
        "A lead that misses its joint by more bends at its end, and keeps its course before.",
    )
    bend_over: float = value(6.0, 1.0, 20.0, "times what it misses: the stretch on which it bends",
        "Length of that bend, in times what the lead misses.")
    short_mm: float = value(12.0, 3.0, 40.0, "clean lead that shows its direction well on its own",
        "Straight leads with less clean length are turned towards square.")
    square_deg: float = value(6.0, 1.0, 30.0, "how exactly short leads are set square to others",
        "How exactly short leads are set square; less turns them further.")
    ridge_low: float = value(0.4, 0.05, 0.9, "where it is lower the map shows no lead",
        "A place below this value of the map counts as not seen when a lead is doubted.")
    near_joint_mm: float = value(2.0, 0.0, 10.0, "so near to a joint the ridge may be another's",
        "So near to a joint the map is not used to doubt a lead.")
    stray_chance: float = value(0.25, 0.01, 0.5, "one of four such leads is off as far as stated",
        "Chance of being off as far as stated; less states more and reports more leads.")
    unseen_mm: float = value(4.0, 1.0, 20.0, "either way: a short drop-out, not a grain of paper",
        "Length either way over which places that are not seen are counted.")
    room_mm: float = value(20.0, 5.0, 60.0, "leads farther away do not lead another astray",
        "Leads farther away do not add to the doubt about a lead.")
    beside_joint_mm: float = value(6.0, 0.0, 20.0, "a place nearer to a joint doubts all around it",
        "A doubt about a lead is placed this far from its joints where it is long enough.")
    settle: int = value(3, 1, 5, "how often leads are read again along their fitted lines",
        "How often leads are read again along their fitted lines; more takes longer.")
