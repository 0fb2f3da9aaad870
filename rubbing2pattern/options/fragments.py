"""Options of putting fragments together."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class FragmentOptions(Checked):
    """How fragments are put together in an opening."""

    most_parts: int = value(5, 2, 8, "more fragments of one piece are not sought")
    window_mm: float = value(14.0, 8.0, 80.0, "stretches of edge so long are compared at first")
    window_gate_mm: float = value(0.7, 0.1, 3.0, "stretches that lie off by less are followed up")
    cut_mm: float = value(0.45, 0.05, 3.0, "a cut edge lies off its line by as much; practice")
    break_mm: float = value(0.25, 0.02, 2.0, "two edges of one break lie apart by as much")
    gap_mm: float = value(0.05, 0.0, 2.0, "two edges of one break are kept apart by as much")
    steady_mm: float = value(5.0, 0.5, 50.0, "over this length of an edge it lies off alike")
    reach_mm: float = value(10.0, 2.0, 50.0, "an edge of a stranger lies anywhere within it")
    free_share: float = value(0.5, 0.05, 0.95, "of an edge meets nothing while parts are missing")
    bare_share: float = value(0.25, 0.01, 0.95, "of an edge meets nothing once all parts lie there")
    beyond_share: float = value(0.02, 0.001, 0.5, "of an edge may stand beyond what bounds it")
    over_share: float = value(0.1, 0.001, 0.5, "of the parts lie turned over, where it is allowed")
    kept_states: int = value(14, 1, 50, "likeliest beginnings in an opening that are carried on")
    kept_poses: int = value(2, 1, 6, "likeliest ways in which one fragment is laid into a hole")
    elsewhere: float = value(20.0, 0.0, 100.0, "what is likelier elsewhere by more is left")
    least_value: float = value(2.0, 0.0, 100.0, "a part of less likelihood is not tried further")
    least_strength: float = value(
        0.6, 0.0, 3.0, "for each `steady_mm` of edge; strangers have less"
    )
    least_met: float = value(0.5, 0.1, 1.0, "of its edge a part meets its neighbours or its line")
    least_met_line: float = value(0.6, 0.1, 1.0, "of the edge around all parts meets the line")
    least_filled: float = value(0.4, 0.1, 1.0, "with less of an opening filled nothing is said")
    least_margin: float = value(5.0, 0.0, 100.0, "over the second-best opening; a hundred to one")
    alike_mm: float = value(0.4, 0.05, 3.0, "openings that differ by less are one as good")
    missing_mm: float = value(3.0, 0.5, 20.0, "a gap that is nowhere wider needs no glass")
