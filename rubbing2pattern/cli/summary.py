"""The summary of a run on stdout: a short table for people, JSON for programs."""

from __future__ import annotations

import io
import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rubbing2pattern.findings import GRAVEST_FIRST, Finding, Severity
from rubbing2pattern.units import Unit, format_length, place_of

if TYPE_CHECKING:
    from rubbing2pattern.model import Came, Panel
    from rubbing2pattern.workflows.pipeline import Reading


def summary(reading: Reading, folder: Path) -> dict[str, Any]:
    """Return the summary for programs; lengths in mm, areas in mm²."""
    seconds = {name: round(seconds, 3) for name, seconds in reading.seconds}
    return panel_summary(reading.panel, folder) | {"seconds": seconds}


def panel_summary(panel: Panel, folder: Path) -> dict[str, Any]:
    """Return what the summary for programs says of a panel and its folder."""
    return {
        "panel": panel.name,
        "seen_from": panel.seen_from,
        "units": "mm",
        "width_mm": round(panel.width_mm, 3),
        "height_mm": round(panel.height_mm, 3),
        "outer_width_mm": round(panel.outer_width_mm, 3),
        "outer_height_mm": round(panel.outer_height_mm, 3),
        "scale": {
            "reference": panel.scale.reference,
            "px_per_mm": round(panel.scale.px_per_mm, 6),
            "relative_uncertainty": round(panel.scale.relative_uncertainty, 8),
        },
        "pieces": len(panel.pieces),
        "cames": len(panel.cames),
        "joints": len(panel.joints),
        "widths": [
            {
                "stock": width.stock,
                "stock_mm": width.stock_mm,
                "measured_mm": round(width.measured_mm, 3),
                "length_mm": round(width.length_mm, 1),
                "cames": width.cames,
            }
            for width in _widths(panel)
        ],
        "findings": findings_json(_sorted(panel.findings)),
        "folder": str(folder),
        "files": files_of(folder),
    }


def table(reading: Reading, folder: Path, unit: Unit) -> str:
    """Return the summary for people."""
    panel = reading.panel
    lines = [f"{head:<8}{text}" for head, text in _facts(panel, unit)]
    if panel.cames:
        lines += ["", *_width_lines(panel, unit)]
    lines += ["", *finding_lines(panel, unit), "", f"The pattern lies in {folder}"]
    return "\n".join([*lines, f"  {', '.join(files_of(folder))}"])


def _width_lines(panel: Panel, unit: Unit) -> list[str]:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    rows = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0))
    for head in ("lead", "measured", "length", "cames"):
        rows.add_column(head, justify="left" if head == "lead" else "right")
    for width in _widths(panel):
        measured = format_length(width.measured_mm, unit, decimals=2, denominator=32)
        length = format_length(width.length_mm, unit, decimals=0)
        rows.add_row(Text(width.stock), measured, length, str(width.cames))
    # Written as text first: a terminal, a pipe and a file then show the same.
    console = Console(file=io.StringIO(), width=100, color_system=None, force_terminal=False)
    with console.capture() as captured:
        console.print(rows)
    return [line.rstrip() for line in captured.get().splitlines()]


def _facts(panel: Panel, unit: Unit) -> list[tuple[str, str]]:
    side = panel.side or "side not stated"
    share = 100.0 * panel.scale.relative_uncertainty
    middle = _size(panel.width_mm, panel.height_mm, unit)
    cames = f"{len(panel.cames)} cames and {len(panel.joints)} joints"
    return [
        ("panel", f"{panel.name}, {side}"),
        ("size", f"{middle} to the middle of the border leads"),
        ("", f"{_size(panel.outer_width_mm, panel.outer_height_mm, unit)} over all"),
        ("scale", f"from {panel.scale.reference}, uncertain by {share:.2g} % of any length"),
        ("pieces", f"{len(panel.pieces)}, in {cames}"),
    ]


def _size(width_mm: float, height_mm: float, unit: Unit) -> str:
    return f"{format_length(width_mm, unit)} x {format_length(height_mm, unit)}"


@dataclass(frozen=True, slots=True)
class _Width:
    """All cames of one stock width; `measured_mm` is their mean face width, by length."""

    stock: str
    stock_mm: float
    measured_mm: float
    length_mm: float
    cames: int


def _widths(panel: Panel) -> list[_Width]:
    """Return the stock widths of a panel, narrow first."""
    groups: dict[tuple[float, str], list[Came]] = defaultdict(list)
    for came in panel.cames:
        groups[came.stock_mm, came.stock].append(came)
    found = []
    for (stock_mm, stock), cames in sorted(groups.items()):
        length_mm = math.fsum(came.length_mm for came in cames)
        area_mm2 = math.fsum(came.length_mm * came.face_width_mm for came in cames)
        found.append(_Width(stock, stock_mm, area_mm2 / length_mm, length_mm, len(cames)))
    return found


def _sorted(findings: tuple[Finding, ...]) -> list[Finding]:
    return sorted(findings, key=lambda finding: GRAVEST_FIRST.index(finding.severity))


def findings_json(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Return findings as the record has them."""
    from rubbing2pattern.record.history import finding_part

    return [finding_part(finding).model_dump(mode="json") for finding in findings]


def findings_head(findings: Sequence[Finding]) -> str:
    """Say how many findings there are of each severity."""
    kinds = [f.severity for f in findings]
    counts = [f"{kinds.count(kind)} {kind.value}" for kind in GRAVEST_FIRST if kind in kinds]
    return f"Findings: {', '.join(counts)}"


def finding_lines(panel: Panel, unit: Unit) -> list[str]:
    """Return the lines that list the findings of a panel, the gravest first."""
    if not panel.findings:
        return ["No findings."]
    lines = [findings_head(panel.findings)]
    for finding in _sorted(panel.findings):
        pieces = ", ".join(str(number) for number in finding.pieces)
        place = "" if finding.at is None else f" at {place_of(finding.at, unit)}"
        touched = f" (piece{'s' if len(finding.pieces) > 1 else ''} {pieces})" if pieces else ""
        head = f"{finding.severity.value:<6}{finding.id:<4}{finding.code}{place}{touched}"
        lines.append(f"  {head}: {finding.sentence(unit)}")
    if any(finding.severity is Severity.WRONG for finding in panel.findings):
        lines.append("  What is marked wrong must be settled before the pattern is used.")
    return lines


def files_of(folder: Path) -> list[str]:
    """Return the names of what lies in a folder."""
    return sorted(entry.name for entry in folder.iterdir())
