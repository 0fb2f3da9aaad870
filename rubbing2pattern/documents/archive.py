"""What the archive package holds of a panel besides the documents of its folder."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from rubbing2pattern.archiving.picture import rubbing_tiff
from rubbing2pattern.documents.document import Document, When
from rubbing2pattern.documents.formats.cells import separated
from rubbing2pattern.documents.formats.columns import Column, headings
from rubbing2pattern.model import Panel
from rubbing2pattern.reading import Grey
from rubbing2pattern.record.panel import schema_text

ORIGINALS: Final = "original"
"""Folder of the pictures as a person gave them."""
CHANGE_COLUMNS = (
    Column("date", "when it was settled, as the file of corrections says"),
    Column("by", "who settled it"),
    Column("file", "the file of corrections; empty where a finding was settled"),
    Column("change", "what was done"),
    Column("remark", "why, or anything else that was said"),
)


@dataclass(frozen=True, slots=True)
class Packing:
    """What is packed of a panel.

    Attributes
    ----------
    panel : as its record gives it back.
    rubbing : the rubbing straight on, (H, W), or None where it was not kept.
    originals : the picture of the rubbing by its name, or nothing where it was not given.
    """

    panel: Panel
    rubbing: Grey | None
    originals: Mapping[str, bytes] = field(default_factory=dict)


ARCHIVE_DOCUMENTS: Final[tuple[Document[Packing], ...]] = (
    Document(
        "panel.schema.json",
        "what each field of the record is, as JSON Schema",
        lambda p: schema_text(),
    ),
    Document(
        "rubbing.tif",
        "the rubbing straight on, without loss, with its scale in pixels per centimetre",
        lambda p: _tiff(p),
        When("where `rubbing.png` was kept", lambda p: p.rubbing is not None),
    ),
    Document(
        "changes.csv",
        "what persons changed, when and why",
        lambda p: changes_csv(p.panel),
        each="change, and for each finding that was settled",
        columns=CHANGE_COLUMNS,
    ),
    Document(
        f"{ORIGINALS}/*",
        "the picture of the rubbing, untouched",
        lambda p: p.originals,
        When("when it is given with `--image`", lambda p: bool(p.originals)),
        names=lambda p: tuple(p.originals),
    ),
)


def changes_csv(panel: Panel) -> str:
    """List what persons changed and which findings they settled, one a row."""
    rows = [
        (done.date, done.by, done.file, change.did, done.remark)
        for done in panel.corrections
        for change in done.changes
    ]
    for dismissed in panel.dismissed:
        what = f"settled: {dismissed.finding.id} {dismissed.finding.code}"
        rows.append((dismissed.date, dismissed.by, "", what, dismissed.why))
    return separated(headings(CHANGE_COLUMNS, "mm"), rows)


def _tiff(packing: Packing) -> bytes:
    assert packing.rubbing is not None
    assert packing.panel.rubbing is not None
    return rubbing_tiff(packing.rubbing, packing.panel.rubbing.px_per_mm)
