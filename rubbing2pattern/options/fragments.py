"""Options of putting fragments together."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class FragmentOptions(Checked):
    """How fragments are put together in an opening."""

    # fmt: off
    most_parts: int = value(5, 2, 8, "more fragments of one piece are not sought",
        "How many fragments of one piece are put together at most; more take longer.")
    window_mm: float = value(14.0, 8.0, 80.0, "stretches of edge so long are compared at first",
        "Length of the stretches of edge by which a first place of a fragment is found.")
    window_gate_mm: float = value(0.7, 0.1, 3.0, "stretches that lie off by less are followed up",
        "Stretches of edge that differ by more are not followed up.")
    cut_mm: float = value(0.45, 0.05, 3.0, "a cut edge lies off its line by as much; practice",
        "How far a cut edge may lie off the outline of its opening.")
    break_mm: float = value(0.2, 0.02, 2.0, "two edges of one break lie apart by as much",
        "How far two edges of one break may lie apart.")
    gap_mm: float = value(0.05, 0.0, 2.0, "two edges of one break are kept apart by as much",
        "How far the edges of two fragments are kept apart.")
    steady_mm: float = value(5.0, 0.5, 50.0, "over this length of an edge it lies off alike",
        "Over what length of an edge it lies off alike; more makes places less certain.")
    reach_mm: float = value(10.0, 2.0, 50.0, "an edge of a stranger lies anywhere within it",
        "How far off the edge of a fragment from elsewhere may lie.")
    free_share: float = value(0.5, 0.05, 0.95, "of an edge meets nothing while parts are missing",
        "Share of an edge that may meet nothing while fragments are missing.")
    bare_share: float = value(0.25, 0.01, 0.95, "of an edge meets nothing once all parts lie there",
        "Share of an edge that may meet nothing once all fragments lie there.")
    beyond_share: float = value(0.02, 0.001, 0.5, "of an edge may reach beyond what bounds it",
        "Share of an edge that may reach beyond the outline or its neighbour.")
    over_share: float = value(0.1, 0.001, 0.5, "of the parts lie turned over, where it is allowed",
        "Share of the fragments that are expected to lie turned over.")
    kept_states: int = value(14, 1, 50, "likeliest beginnings in an opening that are carried on",
        "How many beginnings in an opening are carried on; more take longer.")
    kept_poses: int = value(2, 1, 6, "likeliest ways in which one fragment is laid into a hole",
        "How many places of one fragment in an opening are tried; more take longer.")
    elsewhere: float = value(20.0, 0.0, 100.0, "fragments likelier elsewhere by more are left",
        "A beginning is dropped when its fragments are likelier elsewhere by more.")
    least_value: float = value(2.0, 0.0, 100.0, "a part of less likelihood is not tried further",
        "A place of a fragment less likely than this, in log odds, is dropped.")
    least_strength: float = value(
        0.6, 0.0, 3.0, "for each `steady_mm` of edge; strangers have less",
        "A fragment with less likelihood for the length of its edge is left out.",
    )
    least_met: float = value(0.5, 0.1, 1.0, "of its edge a part meets its neighbours or its line",
        "A fragment of which a smaller share of the edge meets something is left out.")
    least_met_line: float = value(0.6, 0.1, 1.0, "of the edge around all parts meets the line",
        "Fragments together that meet less of the opening's outline are not reported.")
    least_filled: float = value(0.4, 0.1, 1.0, "with less of an opening filled nothing is reported",
        "Fragments that fill a smaller share of an opening are not reported.")
    least_margin: float = value(5.0, 0.0, 100.0, "over the second-best opening; a hundred to one",
        "A place with a smaller lead over the next, in log odds, is not reported.")
    alike_mm: float = value(0.4, 0.05, 3.0, "openings that differ by less are one as good",
        "Openings that differ by less are given as one answer.")
    missing_mm: float = value(3.0, 0.5, 20.0, "a gap that is nowhere wider needs no glass",
        "A narrower gap between fragments is not reported as missing glass.")
