"""Options of the audit: when something about a panel is doubtful."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class AuditOptions(Checked):
    """Limits beyond which a finding is made, and how findings find their pieces."""

    # fmt: off
    least_confidence: float = value(0.9, 0.0, 1.0, "one in ten such leads is not there",
        "A came less likely to be lead gives a finding to check.")
    sure_confidence: float = value(0.98, 0.5, 1.0, "one such lead in fifty is not there",
        "A short gap is only a note when its came is at least this likely to be lead.")
    harmless_gap_mm: float = value(25.0, 0.0, 60.0, "a sure lead goes on over so short a drop-out",
        "A gap this long is a finding to check, however likely the came.")
    joint_uncertainty_mm: float = value(1.0, 0.05, 20.0, "as much as leaf and groze can hide",
        "A joint whose place is less certain gives a finding.")
    width_uncertainty_mm: float = value(0.6, 0.05, 5.0, "half the step between stock sizes",
        "Cames whose width is less certain give a finding.")
    small_area_mm2: float = value(60.0, 1.0, 1e4, "8 by 8 mm: hardly to be cut and held",
        "A piece with less glass gives a finding.")
    sliver_width_mm: float = value(4.0, 0.5, 50.0, "free circle: narrower glass breaks in cutting",
        "A piece narrower than this at its widest gives a finding.")
    split_area_mm2: float = value(
        4.0, 0.0, 100.0, "smaller crumbs beside a cut outline are not glass",
        "Smaller crumbs do not count when a cut outline falls into parts.",
    )
    notch_deg: float = value(30.0, 10.0, 120.0, "an inward bend of grozed glass is rounder",
        "A sharper corner that points into the glass gives a finding.")
    notch_chord_mm: float = value(5.0, 1.0, 20.0, "chords before and after an inward corner",
        "Length on either side by which a corner that points into the glass is measured.")
    notch_joint_mm: float = value(6.0, 1.0, 20.0, "the corner lies up to a chord beside its joint",
        "Such a corner is to be checked when a joint without a through-lead lies this near.")
    scale_share: float = value(0.002, 0.0, 0.1, "2 mm in a metre is play of a tight opening",
        "A less certain scale gives a finding, as a share of any length.")
    residual_mm: float = value(1.0, 0.05, 50.0, "a mark of the reference should lie closer",
        "A mark of the reference that lies further off gives a finding.")
    near_mm: float = value(25.0, 0.0, 200.0, "a free end this near another lead may go on to it",
        "The finding of a free end names another lead when it lies this near.")
    touch_mm: float = value(4.0, 0.1, 50.0, "a finding touches pieces as near as half a wide lead",
        "A finding names the pieces that lie this near to its place.")
    same_place_mm: float = value(3.0, 0.0, 50.0, "two findings of one kind this near are one",
        "Findings of one kind nearer to each other are made one.")
    same_doubt_mm: float = value(
        12.0, 0.0, 50.0, "a doubt about a joint or a lead is one about the leads there",
        "Doubts about a joint or a lead nearer to each other are reported once.",
    )
