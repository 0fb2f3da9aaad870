"""Scores of many rubbings as one row of figures, and rows as a table in Markdown."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from benchmarks.scoring import BIN_MM, Score


@dataclass(frozen=True, slots=True)
class Figure:
    """One line of the table.

    Attributes
    ----------
    name : what is measured.
    of : the figure of a list of scores.
    form : how it is written.
    target : what it must reach, by tier; the hard tier is what people call worn.
    most : True where the figure must stay below its target.
    """

    name: str
    of: Callable[[Sequence[Score]], float]
    form: str
    target: dict[str, float]
    most: bool = False

    def cell(self, scores: Sequence[Score], tier: str) -> str:
        """Write the figure, with the target and whether it is met."""
        value = self.of(scores)
        text = "-" if math.isnan(value) else self.form.format(value)
        if tier in self.target and not math.isnan(value):
            goal = self.target[tier]
            met = value <= goal if self.most else value >= goal
            sign = "<=" if self.most else ">="
            text += f" ({sign} {self.form.format(goal)} {'met' if met else 'MISSED'})"
        return text


def _tiers(clean: float, everyday: float, hard: float) -> dict[str, float]:
    return {"clean": clean, "everyday": everyday, "hard": hard}


def _ratio(top: str, bottom: str) -> Callable[[Sequence[Score]], float]:
    def of(scores: Sequence[Score]) -> float:
        return sum(getattr(s, top) for s in scores) / max(
            1e-9, sum(getattr(s, bottom) for s in scores)
        )

    return of


def piece_f1(scores: Sequence[Score]) -> float:
    """Return the F1 of all pieces together."""
    both = sum(s.true_pieces + s.traced_pieces for s in scores)
    return 2 * sum(s.matched_pieces for s in scores) / max(1, both)


def line_quantile(scores: Sequence[Score], share: float) -> float:
    """Return a quantile of the distances between lead lines, mm."""
    total = np.cumsum(sum(s.line_errors for s in scores))
    if not total[-1]:
        return math.nan
    return float((np.searchsorted(total, share * total[-1]) + 1) * BIN_MM)


def line_mean(scores: Sequence[Score]) -> float:
    """Return the mean distance between lead lines, mm."""
    n = np.asarray(sum(s.line_errors for s in scores))
    return float(((np.arange(len(n)) + 0.5) * BIN_MM * n).sum() / max(1, n.sum()))


def _scale(scores: Sequence[Score], share: float) -> float:
    e = [abs(s.scale_error) * 100 for s in scores if math.isfinite(s.scale_error)]
    return float(np.quantile(e, share)) if e else math.nan


def _area(scores: Sequence[Score]) -> float:
    e = [a for s in scores for a in s.area_errors]
    return 100 * float(np.median(e)) if e else math.nan


def _mean(values: list[float]) -> float:
    real = [v for v in values if math.isfinite(v)]
    return sum(real) / len(real) if real else math.nan


def _findings(scores: Sequence[Score]) -> float:
    """Return the median number of findings of the panels that were read."""
    n = [s.findings for s in scores if not s.failure]
    return float(np.median(n)) if n else math.nan


FIGURES = (
    Figure("rubbings", lambda s: float(len(s)), "{:.0f}", {}),
    Figure(
        "refused though readable, %",
        lambda s: 100 * sum(bool(x.failure) for x in s) / max(1, len(s)),
        "{:.1f}",
        _tiers(0, 0, 2),
        True,
    ),
    Figure(
        "panels with every piece right, %",
        lambda s: 100 * sum(x.every_piece for x in s) / max(1, len(s)),
        "{:.1f}",
        _tiers(98, 90, 50),
    ),
    Figure("piece F1 at overlap 0.9", piece_f1, "{:.4f}", _tiers(0.998, 0.995, 0.96)),
    Figure(
        "joint recall",
        _ratio("matched_joints", "true_joints"),
        "{:.3f}",
        _tiers(0.99, 0.985, 0.96),
    ),
    Figure(
        "joint precision",
        _ratio("matched_joints", "traced_joints"),
        "{:.3f}",
        _tiers(0.99, 0.985, 0.96),
    ),
    Figure("centreline error, mean, mm", line_mean, "{:.3f}", {}),
    Figure(
        "centreline error, 95th percentile, mm",
        lambda s: line_quantile(s, 0.95),
        "{:.2f}",
        _tiers(0.25, 0.30, 0.55),
        True,
    ),
    Figure(
        "leads more than 1 mm off anywhere, %",
        lambda s: 100 * _ratio("strayed", "cames")(s),
        "{:.2f}",
        _tiers(0.5, 1.5, 6.0),
        True,
    ),
    Figure(
        "of these without a finding within 15 mm, % of all leads",
        lambda s: 100 * _ratio("strayed_silent", "cames")(s),
        "{:.2f}",
        _tiers(0.0, 0.1, 0.5),
        True,
    ),
    Figure(
        "lead missed, % of length", lambda s: 100 * _ratio("missed_mm", "true_mm")(s), "{:.2f}", {}
    ),
    Figure(
        "false lead, % of length", lambda s: 100 * _ratio("false_mm", "traced_mm")(s), "{:.2f}", {}
    ),
    Figure("scale error, median, %", lambda s: _scale(s, 0.5), "{:.3f}", {}),
    Figure("scale error, greatest, %", lambda s: _scale(s, 1.0), "{:.3f}", {}),
    Figure(
        "width within 0.4 mm of what shows, % of length",
        lambda s: 100 * _ratio("width_as_shown_mm", "width_mm")(s),
        "{:.1f}",
        _tiers(98, 97, 93),
    ),
    Figure(
        "width within 0.4 mm of the face, % of length",
        lambda s: 100 * _ratio("width_as_face_mm", "width_mm")(s),
        "{:.1f}",
        {},
    ),
    Figure("area error, median, %", _area, "{:.3f}", {"clean": 0.2, "everyday": 0.3}, True),
    Figure(
        "wrong pieces, % of all", lambda s: 100 * _ratio("wrong", "true_pieces")(s), "{:.2f}", {}
    ),
    Figure(
        "silent wrong pieces, % of all",
        lambda s: 100 * _ratio("silent", "true_pieces")(s),
        "{:.2f}",
        _tiers(0.0, 0.1, 0.5),
        True,
    ),
    Figure(
        "pieces flagged, %", lambda s: 100 * _ratio("flagged", "traced_pieces")(s), "{:.1f}", {}
    ),
    Figure(
        "right pieces with a doubt about their leads, %",
        lambda s: 100 * _ratio("doubted_right", "matched_pieces")(s),
        "{:.1f}",
        _tiers(1, 3, 12),
        True,
    ),
    Figure("findings a panel, median", _findings, "{:.1f}", _tiers(2, 5, 15), True),
    Figure("time, mean, s", lambda s: _mean([x.seconds for x in s]), "{:.1f}", {}),
)

SCALE_TARGET = {"scan": 0.05, "photo": 0.1}


def table(columns: dict[tuple[str, str, str], list[Score]]) -> str:
    """Return a table in Markdown.

    Columns are named by hand, tier and capture ("all" for scans and photographs together).
    """
    head = ["", *(f"{hand} hand, {tier}, {capture}" for hand, tier, capture in columns)]
    rows = [head, ["---"] * len(head)]
    for figure in FIGURES:
        row = [figure.name]
        for (_, tier, capture), scores in columns.items():
            use = figure
            if figure.name.startswith("scale error, greatest") and capture in SCALE_TARGET:
                goal = {tier: SCALE_TARGET[capture]}
                use = Figure(figure.name, figure.of, figure.form, goal, True)
            row.append(use.cell(scores, tier))
        rows.append(row)
    return "\n".join("| " + " | ".join(r) + " |" for r in rows) + "\n"


def case_line(name: str, s: Score) -> str:
    """Return the figures of one rubbing in one line."""
    if s.failure:
        return f"{name:38s} not read: {s.failure}"
    worst = line_quantile([s], 0.95)
    width = 100 * s.width_as_shown_mm / max(1.0, s.width_mm)
    area = 100 * float(np.median(s.area_errors)) if s.area_errors else math.nan
    return (
        f"{name:38s} pieces {s.matched_pieces}/{s.true_pieces} of {s.traced_pieces}"
        f"  joints {s.matched_joints}/{s.true_joints} of {s.traced_joints}"
        f"  line {line_mean([s]):.3f}/{worst:.2f} mm"
        f"  off {s.strayed}/{s.cames} silent {s.strayed_silent}"
        f"  missed {s.missed_mm:.0f} false {s.false_mm:.0f} mm"
        f"  scale {100 * s.scale_error:+.3f} %  width {width:.0f} %  area {area:.2f} %"
        f"  wrong {s.wrong} silent {s.silent} flagged {s.flagged}"
        f"  doubted {s.doubted_right}  findings {s.findings}  {s.seconds:.1f} s"
    )
