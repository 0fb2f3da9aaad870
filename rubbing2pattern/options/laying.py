"""Options of laying the leads."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.guide.topics import see
from rubbing2pattern.options.base import Checked, choice, value


@dataclass(frozen=True)
class LayingOptions(Checked):
    """How lead lines, runs and joints are fitted to what the rubbing shows."""

    step_mm: float = value(1.0, 0.25, 3.0, "finer than the grain of the paper tells nothing new")
    profile_step_mm: float = value(0.2, 0.05, 0.5, "about a pixel of a scan at 150 dpi")
    search_mm: float = value(3.4, 0.5, 8.0, "how far a first line may stray from the lead")
    strip_mm: float = value(1.2, 0.4, 3.0, "of dark and pale on either side of a leaf's edge")
    along_mm: float = value(2.0, 0.5, 10.0, "a profile is the mean of so much either way")
    edge_mm: float = value(1.1, 0.2, 3.0, "how far an edge may lie from where it is expected")
    least_share: float = value(
        0.8, 0.3, 1.0, "of the width on the map, which 19 of 20 leads keep within an eighth"
    )
    most_share: float = value(1.2, 1.0, 4.0, "the same; beside wide leaves more is read than is")
    seen_above: float = value(0.25, 0.05, 0.8, "of the local strength; paper and smears reach it")
    solder: float = value(0.95, 0.4, 2.0, "of the narrower leads of a joint: radius of its solder")
    solder_mm: float = value(0.6, 0.0, 3.0, "added to it: a frayed rim, a joint off its place")
    beside_mm: float = value(0.8, 0.0, 3.0, "nearer to another leaf an edge is not its own")
    merged: float = value(
        0.08, 0.0, 1.0, "of the width; with `merged_mm` a wider dark is two leads"
    )
    merged_mm: float = value(0.7, 0.1, 5.0, "frayed edges widen a lead by less")
    fused_mm: float = value(45.0, 10.0, 120.0, "leads that meet at 8 degrees run together as long")
    clear_mm: float = value(3.0, 1.0, 10.0, "clean lead that still tells a direction")
    stub_mm: float = value(26.0, 5.0, 60.0, "length over which a direction at a joint is read")
    stub_memory_mm: float = value(12.0, 2.0, 60.0, "what lies three times as far tells little")
    alone_cost: float = value(4.0, 1.0, 50.0, "a misfit of 2.8 deviations: then two are not one")
    corner_deg: float = value(35.0, 15.0, 80.0, "a came is not bent sharper than this")
    chord_mm: float = value(8.0, 3.0, 40.0, "chords before and after a corner")
    chord_widths: float = value(1.4, 0.5, 4.0, "a wide lead shows a rounded corner")
    corner_mm: float = value(3.0, 1.0, 10.0, "within so much either way a corner has its turn")
    corner_share: float = value(0.55, 0.3, 0.9, "so much of it; a bend has half or less")
    least_round_mm: float = value(20.0, 5.0, 60.0, "no piece of glass is smaller round its rim")
    close_mm: float = value(2.5, 0.5, 8.0, "two joints nearer than this are one")
    meet_mm: float = value(1.2, 0.1, 4.0, "leads that pass a place this close meet there")
    corner_near_mm: float = value(15.0, 3.0, 40.0, "a butt nearer to a corner may share its node")
    noise_mm: float = value(0.06, 0.01, 0.5, "least deviation that counts against a curve")
    noise_share: float = value(0.015, 0.0, 0.1, "of the width: edges of wide leads are found worse")
    short_doubt_mm: float = value(
        2.0, 0.0, 60.0, "clean lead so long is judged with twice the noise"
    )
    knot_mm: float = value(8.0, 3.0, 30.0, "a came does not bend and bend back within it")
    shared_mm: float = value(4.0, 1.0, 20.0, "edges nearer to each other share their error")
    centre_mm: float = value(0.06, 0.01, 0.5, "deviation of the middle between two clean edges")
    hidden_mm: float = value(0.6, 0.1, 3.0, "deviation of the net's path where nothing is clean")
    ridge_mm: float = value(1.6, 0.5, 4.0, "how far from a laid line the map's ridge is looked for")
    ridge_near_mm: float = value(1.0, 0.2, 3.0, "how far from the raw path")
    ridge_pull: float = value(0.1, 0.0, 2.0, "a ridge as far as `ridge_mm` must be so much higher")
    ridge_above: float = value(0.5, 0.1, 0.9, "a lower ridge says nothing of the place of a lead")
    shown_above: float = value(0.3, 0.1, 0.9, "a lower ridge inside a knot need not be drawn")
    ridge_off_mm: float = value(0.22, 0.05, 1.0, "deviation of the ridge from the lead line")
    ridge_along_mm: float = value(1.0, 0.0, 5.0, "the ridge is the mean of so much either way")
    ridge_apart_mm: float = value(2.4, 0.5, 6.0, "ridges of leads nearer to each other are one")
    dense_mm: float = value(0.5, 0.1, 2.0, "points of a curve lie so near each other")
    window_mm: float = value(15.0, 3.0, 60.0, "a lead that runs through is looked at so far on")
    reach_mm: float = value(25.0, 5.0, 60.0, "an end is carried on so far beyond its joint")
    beyond_mm: float = value(60.0, 20.0, 200.0, "a curve is prolonged so far; more than any reach")
    mean_mm: float = value(5.0, 1.0, 20.0, "places nearer to each other are judged by their mean")
    same_mm: float = value(0.05, 0.001, 0.5, "nobody sets a lead more exactly")
    same_place_mm: float = value(7.0, 2.0, 20.0, "stops of one lead this near are the same place")
    plain_mm: float = value(0.1, 0.01, 0.5, "a line or an arc so near to a curve is as good")
    undrawn_mm: float = value(
        0.75, 0.3, 4.0, "what the ridge shows farther from all leads is missing"
    )
    one_sided: float = value(1.5, 1.0, 5.0, "deviation of a middle by one edge, of that by two")
    odd: float = value(3.0, 1.0, 20.0, "the same where the edges lie apart as in solder")
    missed_mm: float = value(0.3, 0.05, 2.0, "a curve that misses its joint by more is drawn to it")
    bent_mm: float = value(
        0.7, 0.05, 5.0, "a lead that misses its joint by more keeps its course and bends at its end"
    )
    bend_over: float = value(6.0, 1.0, 20.0, "times what it misses: the stretch on which it bends")
    short_mm: float = value(12.0, 3.0, 40.0, "clean lead that tells its direction well by itself")
    square_deg: float = value(6.0, 1.0, 30.0, "how exactly short leads are set square to others")
    ridge_low: float = value(0.4, 0.05, 0.9, "where it is lower the map shows no lead")
    near_joint_mm: float = value(2.0, 0.0, 10.0, "so near to a joint its ridge tells nothing")
    stray_look: tuple[float, ...] = choice(
        (3.63, 1.66, 1.12, 2.36, -1.09, 0.069, -0.11, -0.65, -2.06, 2.92),
        f"log odds of a came being off: constant, figures, log mm; fitted ({see('lead-lines')})",
    )
    stray_chance: float = value(0.25, 0.01, 0.5, "one of four such leads is off as far as told")
    unseen_mm: float = value(4.0, 1.0, 20.0, "either way: a short drop-out, not a grain of paper")
    room_mm: float = value(20.0, 5.0, 60.0, "leads farther away do not lead another astray")
    beside_joint_mm: float = value(6.0, 0.0, 20.0, "a place nearer to a joint doubts all around it")
    settle: int = value(3, 1, 5, "how often leads are read again along their fitted lines")
