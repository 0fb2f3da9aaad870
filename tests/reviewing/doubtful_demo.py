"""The demo made doubtful: a lead not read, one read that is none, the border open for a stretch."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import rubbing2pattern.demo as demo
from rubbing2pattern.correcting.net import Net
from rubbing2pattern.documents import document_files
from rubbing2pattern.findings.names import named
from rubbing2pattern.inputs.reference import parse_reference
from rubbing2pattern.model import Panel
from rubbing2pattern.options import Options
from rubbing2pattern.stages.audit import audit
from rubbing2pattern.stages.pieces import cut_pieces
from rubbing2pattern.workflows.pipeline import Reading
from tests.correcting.making import corrected
from tests.readings import read_once
from tests.reviewing.served import OPTIONS

MISSED = ((133.7, 369.0), (133.7, 397.8))
"""The ends of the lead that was not read, between pieces 2 and 3, in mm."""
NONE = (237.0, 90.0)
"""The middle of the lead that is none, across piece 42."""
_SPOILT = """
[[remove_lead]]
at = [133.7, 383]
[[remove_lead]]
at = [251.3, 200]
border = true
[[add_lead]]
from = [251.3, 258.5]
to = [251.3, 215]
free_end = true
[[add_lead]]
from = [251.3, 141.8]
to = [251.3, 185]
free_end = true
[[add_lead]]
from = [222.7, 90]
to = [251.3, 90]
"""


@cache
def reading() -> Reading:
    """Return the demo as it is read."""
    return read_once(
        Path(demo.__file__).parent / demo.PICTURE,
        parse_reference(sheet=demo.SHEET),
        name=demo.PANEL,
        seen_from=demo.SEEN_FROM,
    )


def _spoilt() -> Panel:
    """Return the panel as a reading would give it that went wrong in three places."""
    options, panel = Options(), reading().panel
    changed = corrected(panel, _SPOILT).panel
    by_hand = {came.id for came in changed.cames if came.corrected}
    net = Net(changed, options.correct)
    for name in by_hand:
        lead = net.leads[name]
        doubtful = replace(lead.came, confidence=0.3, seen_share=0.2, width_mm=9.5)
        net.leads[name] = replace(lead, came=replace(doubtful, width_uncertainty_mm=0.1))
    cut = replace(cut_pieces(net.lead_net(), options.pieces), seen_from=panel.seen_from)
    audited = audit(replace(cut, name=panel.name), options.audit)
    return replace(audited, findings=named(audited.findings))


@cache
def _files() -> dict[str, bytes]:
    found = reading()
    provenance = {**found.provenance, "settings": {"documents.overlay_px_per_mm": 2.0}}
    return document_files(_spoilt(), found.rubbing, provenance, OPTIONS)


def doubtful_demo(place: Path) -> Path:
    """Write the folder of results of the spoilt demo."""
    place.mkdir(parents=True)
    for name, content in _files().items():
        (place / name).write_bytes(content)
    return place
