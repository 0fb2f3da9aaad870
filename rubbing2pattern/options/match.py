"""Options of laying loose pieces into openings."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class MatchOptions(Checked):
    """How a loose piece is laid into an opening and judged."""

    opening_mm: float = value(0.2, 0.02, 3.0, "a lead line read from a rubbing strays by as much")
    cutting_mm: float = value(0.3, 0.02, 3.0, "an edge of glass strays so from its line; practice")
    size_mm: float = value(0.4, 0.05, 3.0, "glass is cut too large or small all round by as much")
    steady_mm: float = value(15.0, 1.0, 200.0, "over this length of an edge it strays alike")
    off_share: float = value(0.08, 0.001, 0.5, "of an edge is chipped or not yet grozed")
    off_mm: float = value(3.0, 0.5, 10.0, "what is chipped or not grozed is off by less")
    stranger_mm: float = value(1.0, 0.2, 10.0, "an edge of a stranger strays so besides")
    stranger_steady_mm: float = value(12.0, 1.0, 200.0, "smoothly over such a stretch")
    stranger_share: float = value(0.2, 0.001, 0.9, "of what lies on the bench belongs elsewhere")
    over_share: float = value(0.1, 0.001, 0.5, "of the pieces lie turned over, where it is allowed")
    size_gate_mm: float = value(1.5, 0.5, 1e6, "glass is not cut larger all round by more")
    start_gate_mm: float = value(4.0, 0.5, 1e6, "before it is laid exactly, glass lies off so far")
    turns: int = value(4, 1, 12, "likeliest turns of a piece that are tried in an opening")
    starts: int = value(60, 4, 5000, "beginnings of a piece in all openings that are followed up")
    laid_best: int = value(4, 1, 20, "openings in which a piece is laid once more, exactly")
    alike_mm: float = value(0.4, 0.05, 3.0, "the clearance: glass for one opening goes into both")
    tolerance_mm: float = value(0.15, 0.0, 2.0, "a finger feels less play than that as none")
    stretch_gap_mm: float = value(2.0, 0.1, 20.0, "two stretches nearer than this are one")
    few_fit: float = value(0.3, 0.0, 1.0, "of the pieces: with less it is another panel")
    doubtful_margin: float = value(5.0, 0.0, 50.0, "a hundred to one")
