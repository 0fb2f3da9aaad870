"""Options of tidying the net."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, choice, value


@dataclass(frozen=True)
class TidyOptions(Checked):
    """How false leads are told from true ones, and how lead lines and joints are settled."""

    seen_above: float = value(0.35, 0.1, 0.9, "share of the local strength that counts as seen")
    step_mm: float = value(0.75, 0.25, 3.0, "several profiles per grain of the paper")
    profile_step_mm: float = value(0.2, 0.05, 0.5, "about a pixel of a scan at 150 dpi")
    profile_half_mm: float = value(12.0, 6.0, 30.0, "half the widest border and its flank")
    along_mm: float = value(2.0, 0.5, 10.0, "smoothing along the lead before it is centred")
    search_mm: float = value(2.6, 0.5, 8.0, "how far a first line may stray from the lead")
    blob: float = value(0.65, 0.4, 2.0, "of the widest lead: how far solder reaches from a joint")
    merged: float = value(0.1, 0.0, 1.0, "of the width; with `merged_mm` a wider dark is two leads")
    merged_mm: float = value(1.0, 0.1, 5.0, "frayed edges widen a lead by less")
    fused_mm: float = value(
        45.0, 10.0, 120.0, "two leads meeting at 8 degrees run together as long"
    )
    clear_mm: float = value(3.0, 1.0, 10.0, "clean lead that still tells a direction")
    local_mm: float = value(28.0, 5.0, 50.0, "length over which a direction at a joint is read")
    unseen_below: float = value(0.25, 0.05, 0.6, "of the local strength; paper and smears reach it")
    gap_mm: float = value(9.0, 3.0, 40.0, "shorter drop-outs need no second look")
    bridge_mm: float = value(48.0, 10.0, 200.0, "the hand does not skip further than this")
    bridge_deg: float = value(28.0, 5.0, 60.0, "a lead goes on the way it came")
    stump_mm: float = value(9.0, 3.0, 40.0, "a shorter rest of a lead is a frayed joint")
    link_mm: float = value(13.0, 3.0, 60.0, "of a link so little shows that its ink must be judged")
    merge_mm: float = value(0.55, 0.1, 3.0, "leads that pass a place this close meet there")
    alone_cost: float = value(
        4.0, 1.0, 50.0, "a misfit of 2.8 standard deviations: then two leads are not one"
    )
    tip_mm: float = value(8.0, 1.0, 20.0, "a curve that is off here cannot be prolonged")
    tip_ahead_mm: float = value(5.0, 0.0, 20.0, "how far a lead is prolonged as a rule")
    tip_memory_mm: float = value(5.0, 1.0, 30.0, "what lies three times as far tells little")
    tip_stiff_mm2: float = value(
        40.0, 0.0, 1e4, "a bend of 20 mm radius costs as 0.15 mm at each of twenty places"
    )
    sure_mm: float = value(0.4, 0.05, 2.0, "wider than the lead by this, another lead draws near")
    hidden_mm: float = value(
        -1.0, -5.0, 10.0, "less hidden than solder reaches, and this, tells nothing new"
    )
    edge_memory_mm: float = value(14.0, 3.0, 40.0, "a came keeps its bend over about as long")
    edge_stray_mm: float = value(0.5, 0.1, 3.0, "a lead's edge wavers by half of it")
    beyond_mm: float = value(24.0, 5.0, 60.0, "a lead is known to go on this far behind a joint")
    beside_mm: float = value(0.5, 0.0, 3.0, "nearer to another lead's side an edge is not its own")
    sliver_seen: float = value(0.2, 0.0, 1.0, "of a lead: more seen alone is no double")
    same_mm: float = value(0.05, 0.001, 1.0, "joints so near are one place, drawn with any pen")
    close_mm: float = value(2.5, 0.5, 8.0, "two joints nearer than this are one")
    corner_deg: float = value(35.0, 15.0, 80.0, "a came is not bent sharper than this")
    elbow_deg: float = value(
        40.0, 15.0, 180.0, "two leads that meet so are not one, and are weighed each for itself"
    )
    chord_mm: float = value(8.0, 3.0, 40.0, "chords before and after a corner")
    chord_widths: float = value(1.4, 0.5, 4.0, "a wide lead shows a rounded corner")
    stray: float = value(1.6, 0.5, 5.0, "of the solder's reach: how far a joint may be moved")
    noise_mm: float = value(0.08, 0.01, 0.5, "least deviation that counts against a curve")
    short_doubt_mm: float = value(
        15.0, 0.0, 60.0, "clean lead so long is judged with twice the noise"
    )
    bend_mm: float = value(0.15, 0.02, 2.0, "a joint further off a curve bends the end of the lead")
    noise_share: float = value(0.02, 0.0, 0.1, "of the width: edges of wide leads are found worse")
    smallest_part_mm: float = value(120.0, 10.0, 1e4, "lead of a separate part; less is writing")
    first_look: tuple[float, ...] = choice(
        (-24.1, 16.8, 2.0, 9.2),
        "log odds for lead on the working grid: constant, mean, aligned, straight; fitted",
    )
    clearly_false: float = value(-4.0, -20.0, 2.0, "log odds that one lead in a thousand is below")
    second_look: tuple[float, ...] = choice(
        (-4.2, 5.2, -2.6, 2.2, -0.2, -3.3, 1.3, -1.4),
        "in the full picture: constant, mean, wiggle, aligned, goes_on, free, corner, elbow; "
        "fitted",
    )
    link_look: tuple[float, ...] = choice(
        (-3.1, 3.0, 0.4, -1.6, -2.5, 1.9, -1.5),
        "the same for links: constant, mean, least, wiggle, free, corner, elbow; fitted",
    )
    lead_share: float = value(0.79, 0.01, 0.99, "of lead in what second_look was fitted on")
    least_shift: float = value(-1.0, -10.0, 0.0, "false lead is sooner seen than missed")
    greatest_shift: float = value(3.0, 0.0, 10.0, "twenty to one, as where all is lead")
    finished_look: tuple[float, ...] = choice(
        (-3.0, 3.9, -1.3, 0.9, 0.4, -1.6, 1.9),
        "finished cames: constant, mean, wiggle, aligned, goes_on, free, least; fitted",
    )
    surest: float = value(0.999, 0.9, 0.9999, "of no came does a rubbing prove more")
    false_below: float = value(
        -1.5, -10.0, 10.0, "one in five: false lead is sooner seen than missed"
    )
    fair_chance: float = value(-2.2, -10.0, 10.0, "log odds of one in ten")
    inner_part_mm: float = value(45.0, 10.0, 500.0, "a roundel 15 mm across; a figure is shorter")
    inner_part_sure: float = value(0.7, 0.5, 1.0, "probability; a part tied to nothing needs more")
    overrun_mm: float = value(25.0, 0.0, 100.0, "the hand stops within an inch of the border")
    run_mm: float = value(16.0, 5.0, 100.0, "as long as a letter is high and more")
    run_tie_mm: float = value(8.0, 0.0, 30.0, "a run that begins this near a joint is tied to it")
    meet_mm: float = value(20.0, 0.0, 60.0, "a lead that stops this near another goes on to it")
    inkless_below: float = value(
        0.6, 0.1, 1.5, "of the local strength; smears stay below, solder not"
    )
    steady_above: float = value(0.25, 0.05, 1.0, "of the band; false lines drop below it somewhere")
    steady_mm: float = value(6.0, 2.0, 50.0, "a shorter stretch is steady by chance")
    leaf_margin_mm: float = value(0.7, 0.0, 3.0, "beside a leaf the dark of both runs together")
    narrowest_mm: float = value(2.2, 0.5, 5.0, "the narrowest came is sold at 3 mm, worn to 2.5")
    thin_odds: float = value(3.0, 0.0, 20.0, "twenty to one against what is narrower")
    clearly_no_link: float = value(
        -5.0, -20.0, 2.0, "the same for links, of which less can be seen"
    )
    straying: float = value(1.5, 1.0, 5.0, "of the chord: a path under solder is no longer")
    covered_mm: float = value(4.0, 0.0, 20.0, "of less no flank shows between two leaves")
    covered_odds: float = value(1.0, 0.1, 5.0, "three in four, for ink alone proves little")
    leaf_reach: float = value(
        1.6, 1.0, 3.0, "of the width: a band is still seen a little beside it"
    )
    explained: float = value(
        0.25, 0.0, 0.9, "on grain at most 0.07 was met, on a rubbing 0.30 and up"
    )
