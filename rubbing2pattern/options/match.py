"""Options of laying loose pieces into openings."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class MatchOptions(Checked):
    """How a loose piece is laid into an opening and judged."""

    # fmt: off
    opening_mm: float = value(0.2, 0.02, 3.0, "a lead line read from a rubbing strays by as much",
        "How far the outline of an opening may be off.")
    cutting_mm: float = value(0.3, 0.02, 3.0, "an edge of glass strays so from its line; practice",
        "How far an edge of glass may stray from the line it was cut to.")
    size_mm: float = value(0.4, 0.05, 3.0, "glass is cut too large or small all round by as much",
        "How much too large or small all round glass is expected to be.")
    steady_mm: float = value(15.0, 1.0, 200.0, "over this length of an edge it strays alike",
        "Over what length of an edge it strays alike; more makes matches less certain.")
    off_share: float = value(0.08, 0.001, 0.5, "of an edge is chipped or not yet grozed",
        "Share of an edge that is expected to be chipped or not yet grozed.")
    off_mm: float = value(3.0, 0.5, 10.0, "a chipped or ungrozed edge is off by less",
        "How far off a chipped or ungrozed edge may be.")
    stranger_mm: float = value(1.0, 0.2, 10.0, "an edge of a stranger strays so besides",
        "How far the edge of a piece that belongs elsewhere is expected to be off.")
    stranger_steady_mm: float = value(12.0, 1.0, 200.0, "smoothly over such a stretch",
        "Over what length the edge of such a piece is off alike.")
    stranger_share: float = value(0.2, 0.001, 0.9, "of what lies on the bench belongs elsewhere",
        "Share of the loose pieces that are expected to belong elsewhere.")
    over_share: float = value(0.1, 0.001, 0.5, "of the pieces lie turned over, where it is allowed",
        "Share of the loose pieces that are expected to lie turned over.")
    size_gate_mm: float = value(1.5, 0.5, 1e6, "glass is not cut larger all round by more",
        "A piece larger or smaller all round by more is not tried in an opening.")
    start_gate_mm: float = value(4.0, 0.5, 1e6, "before it is laid exactly, glass lies off so far",
        "A rough fit that is off by more is not followed up.")
    turns: int = value(4, 1, 12, "likeliest turns of a piece that are tried in an opening",
        "How many turns of a piece are tried in each opening; more take longer.")
    starts: int = value(60, 4, 5000, "beginnings of a piece in all openings that are followed up",
        "How many rough fits of a piece are followed up; more take longer.")
    laid_best: int = value(4, 1, 20, "openings in which a piece is laid once more, exactly",
        "In how many openings each piece is laid exactly; more take longer.")
    alike_mm: float = value(0.4, 0.05, 3.0, "the clearance: glass for one opening goes into both",
        "Openings that differ by less are given as one answer.")
    alike_sd: float = value(3.0, 0.0, 10.0, "of both openings: so much differs by tracing alone",
        "Openings that differ by fewer deviations are given as one answer.")
    covers: float = value(0.9, 0.0, 1.0, "of an opening: less is a fragment",
        "Glass that covers a smaller share of its opening is tried as a fragment first.")
    near_mm: float = value(5.0, 0.0, 50.0, "glass that misses by more is a stranger",
        "Largest miss at which the nearest opening is named for a piece without a place.")
    pattern_mm: float = value(2.0, 0.3, 20.0, "a joint or lead read wrongly is off by as much",
        "How far a joint or lead of a wrong pattern is expected to be off.")
    pattern_share: float = value(0.01, 1e-6, 0.5, "of the joints and leads; more gives false ones",
        "Share of joints and leads that are expected to be wrong in the pattern.")
    pattern_agree: float = value(1.0, 0.0, 50.0, "a piece that is as likely without says nothing",
        "How much better, in log odds, each of two pieces must fit a corrected pattern.")
    doubt_mm: float = value(10.0, 0.0, 100.0, "a doubtful joint pulls its leads over such a length",
        "How near to glass that does not fit a finding of the panel may explain it.")
    tolerance_mm: float = value(0.15, 0.0, 2.0, "a finger feels less play than that as none",
        "Less play or excess of glass is not reported.")
    stretch_gap_mm: float = value(2.0, 0.1, 20.0, "two stretches nearer than this are one",
        "Stretches to groze that lie nearer to each other are one.")
    few_fit: float = value(0.3, 0.0, 1.0, "of the pieces: with less it is another panel",
        "When a smaller share of the pieces fits, a finding says it may be another panel.")
    doubtful_margin: float = value(5.0, 0.0, 50.0, "a hundred to one",
        "A match with a smaller lead over the next, in log odds, gives a finding.")
