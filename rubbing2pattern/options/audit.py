"""Options of the audit: when something about a panel is doubtful."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class AuditOptions(Checked):
    """Limits beyond which a finding is made, and how findings find their pieces."""

    least_confidence: float = value(0.9, 0.0, 1.0, "one in ten such leads is none")
    sure_confidence: float = value(0.98, 0.5, 1.0, "one such lead in fifty is none")
    harmless_gap_mm: float = value(25.0, 0.0, 60.0, "a sure lead goes on over so short a drop-out")
    joint_uncertainty_mm: float = value(1.0, 0.05, 20.0, "as much as leaf and groze can hide")
    width_uncertainty_mm: float = value(0.6, 0.05, 5.0, "half the step between stock sizes")
    small_area_mm2: float = value(60.0, 1.0, 1e4, "8 by 8 mm: hardly to be cut and held")
    sliver_width_mm: float = value(4.0, 0.5, 50.0, "free circle: narrower glass breaks in cutting")
    split_area_mm2: float = value(
        4.0, 0.0, 100.0, "lesser crumbs beside a cut outline are no glass"
    )
    notch_deg: float = value(30.0, 10.0, 120.0, "an inward bend of grozed glass is rounder")
    notch_chord_mm: float = value(5.0, 1.0, 20.0, "chords before and after an inward corner")
    notch_joint_mm: float = value(6.0, 1.0, 20.0, "the corner lies up to a chord beside its joint")
    scale_share: float = value(0.002, 0.0, 0.1, "2 mm in a metre is play of a tight opening")
    residual_mm: float = value(1.0, 0.05, 50.0, "a mark of the reference should lie closer")
    near_mm: float = value(25.0, 0.0, 200.0, "a free end this near another lead may go on to it")
    touch_mm: float = value(4.0, 0.1, 50.0, "a finding touches pieces as near as half a wide lead")
    same_place_mm: float = value(3.0, 0.0, 50.0, "two findings of one kind this near are one")
    same_doubt_mm: float = value(
        12.0, 0.0, 50.0, "a doubt about a joint or a lead is one about the leads there"
    )
