"""Options of tidying the net."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class TidyOptions(Checked):
    """How false leads are told from true ones, and how lead lines and joints are settled."""

    seen_above: float = value(0.35, 0.1, 0.9, "share of the local strength that counts as seen")
    clearly_false: float = value(0.22, 0.0, 0.6, "mean response of grain and streaks stays below")
    step_mm: float = value(0.75, 0.25, 3.0, "several profiles per grain of the paper")
    profile_step_mm: float = value(0.2, 0.05, 0.5, "about a pixel of a scan at 150 dpi")
    profile_half_mm: float = value(12.0, 6.0, 30.0, "half the widest border and its flank")
    along_mm: float = value(2.0, 0.5, 10.0, "smoothing along the lead before it is centred")
    search_mm: float = value(2.6, 0.5, 8.0, "how far a first line may stray from the lead")
    blob: float = value(0.65, 0.4, 2.0, "of the widest lead: how far solder reaches from a joint")
    merged: float = value(0.1, 0.0, 1.0, "of the width; with `merged_mm` a wider dark is two leads")
    merged_mm: float = value(1.0, 0.1, 5.0, "frayed edges widen a lead by less")
    fused_mm: float = value(45.0, 10.0, 120.0, "two leads meeting at 8 degrees run together as long")
    clear_mm: float = value(3.0, 1.0, 10.0, "clean lead that still tells a direction")
    local_mm: float = value(28.0, 5.0, 50.0, "length over which a direction at a joint is read")
    false_below: float = value(0.38, 0.1, 0.9, "half of a well rubbed lead's response and less")
    unseen_below: float = value(0.25, 0.05, 0.6, "of the local strength; paper and smears reach it")
    gap_mm: float = value(9.0, 3.0, 40.0, "shorter drop-outs need no second look")
    bridge_mm: float = value(48.0, 10.0, 200.0, "the hand does not skip further than this")
    bridge_deg: float = value(28.0, 5.0, 60.0, "a lead goes on the way it came")
    stump_mm: float = value(9.0, 3.0, 40.0, "a shorter rest of a lead is a frayed joint")
    link_mm: float = value(18.0, 5.0, 60.0, "a shorter link lies in solder; only its ink can be judged")
    link_ink: float = value(0.45, 0.1, 0.9, "of its ends' ink that a true link keeps all along")
    merge_mm: float = value(0.55, 0.1, 3.0, "leads that pass a place this close meet there")
    alone_cost: float = value(4.0, 1.0, 50.0, "a misfit of 2.8 standard deviations: then two leads are not one")
    close_mm: float = value(2.5, 0.5, 8.0, "two joints nearer than this are one")
    corner_deg: float = value(35.0, 15.0, 80.0, "a came is not bent sharper than this")
    chord_mm: float = value(8.0, 3.0, 40.0, "chords before and after a corner")
    chord_widths: float = value(1.4, 0.5, 4.0, "a wide lead shows a rounded corner")
    stray: float = value(1.6, 0.5, 5.0, "of the solder's reach: how far a joint may be moved")
    noise_mm: float = value(0.08, 0.01, 0.5, "least deviation that counts against a curve")
    bend_mm: float = value(0.15, 0.02, 2.0, "a joint further off a curve bends the end of the lead")
    noise_share: float = value(0.02, 0.0, 0.1, "of the width: edges of wide leads are found worse")
    smallest_part_mm: float = value(120.0, 10.0, 1e4, "lead of a separate part; less is writing")
