"""A panel whose folder is quickly written, and what a glazier writes on its sheet of pieces."""

from __future__ import annotations

from dataclasses import replace

from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.options import Options
from tests.correcting.making import HEAD
from tests.documents.photographed import photograph
from tests.glazing.sheets import FOUR

COARSE = replace(
    Options(),
    documents=replace(Options().documents, overlay_px_per_mm=2.0, report_crops=0),
    paper=replace(Options().paper, papers=("none",)),
)
PROVENANCE = {
    "options": {},
    "settings": {
        "documents.overlay_px_per_mm": 2.0,
        "documents.report_crops": 0,
        "paper.papers": ["none"],
    },
}
RUBBING = photograph(FOUR, Warp.similarity(2.0, 700), 500, 700)
JOIN = HEAD + "[[join_pieces]]\npieces = [3, 4]\n"
TYPED = {
    1: {
        "state": "missing", "action": "replace", "glass": "ruby", "thickness": "3",
        "decoration": "painted", "remark": "=see photo",
    },
    4: {"state": "cracked"},
}  # fmt: skip
