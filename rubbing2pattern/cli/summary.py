"""What a run tells on stdout: a short table for people, JSON for programs."""

from __future__ import annotations

import math
import sys
from collections import defaultdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rubbing2pattern.findings import Finding, Severity
from rubbing2pattern.units import Unit, format_length

if TYPE_CHECKING:
    from rubbing2pattern.model import Panel
    from rubbing2pattern.pipeline import Reading

WORST_FIRST = (Severity.WRONG, Severity.CHECK, Severity.NOTE)


def summary(reading: Reading, folder: Path) -> dict[str, Any]:
    """Return the summary for programs; lengths in mm, areas in mm²."""
    panel = reading.panel
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
            {"stock": stock, "stock_mm": size_mm, "cames": n, "length_mm": round(mm, 1)}
            for stock, size_mm, n, mm in _widths(panel)
        ],
        "findings": [_finding(finding) for finding in _sorted(panel.findings)],
        "folder": str(folder),
        "files": _files(folder),
        "seconds": {name: round(seconds, 3) for name, seconds in reading.seconds},
    }


def print_table(reading: Reading, folder: Path, unit: Unit) -> None:
    """Print the summary for people."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(file=sys.stdout, highlight=False, markup=False)
    panel = reading.panel
    grid = Table.grid(padding=(0, 2))
    for head, text in _facts(panel, unit):
        grid.add_row(head, Text(text))
    console.print(grid)
    if panel.cames:
        table = Table(box=None, pad_edge=False, padding=(0, 2), header_style="bold")
        for head in ("lead", "length", "cames"):
            table.add_column(head, justify="left" if head == "lead" else "right")
        for stock, _, n, length_mm in _widths(panel):
            table.add_row(Text(stock), format_length(length_mm, unit, decimals=0), str(n))
        console.print()
        console.print(table)
    console.print()
    for line in _finding_lines(panel, unit):
        console.print(Text(line), soft_wrap=True)
    console.print(Text(f"The pattern lies in {folder}"), soft_wrap=True)
    console.print(Text("  " + ", ".join(_files(folder))), soft_wrap=True)


def _facts(panel: Panel, unit: Unit) -> list[tuple[str, str]]:
    side = "side not stated" if panel.seen_from == "unstated" else f"seen from {panel.seen_from}"
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


def _widths(panel: Panel) -> list[tuple[str, float, int, float]]:
    """Stock width, its size, number of cames and length of each width, narrow first."""
    lengths: dict[tuple[float, str], list[float]] = defaultdict(list)
    for came in panel.cames:
        lengths[came.stock_mm, came.stock].append(came.length_mm)
    return [
        (stock, size_mm, len(each), math.fsum(each))
        for (size_mm, stock), each in sorted(lengths.items())
    ]


def _sorted(findings: tuple[Finding, ...]) -> list[Finding]:
    return sorted(findings, key=lambda finding: WORST_FIRST.index(finding.severity))


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "code": finding.code.value,
        "severity": finding.severity.value,
        "message": finding.message,
        "at": None if finding.at is None else [round(part, 2) for part in finding.at],
        "pieces": list(finding.pieces),
    }


def _finding_lines(panel: Panel, unit: Unit) -> list[str]:
    if not panel.findings:
        return ["No findings.", ""]
    kinds = [f.severity for f in panel.findings]
    counts = [f"{kinds.count(kind)} {kind.value}" for kind in WORST_FIRST if kind in kinds]
    lines = [f"Findings: {', '.join(counts)}"]
    for finding in _sorted(panel.findings):
        pieces = ", ".join(str(number) for number in finding.pieces)
        place = "" if finding.at is None else f" at {_place(finding.at, unit)}"
        touched = f" (piece {pieces})" if pieces else ""
        lines.append(
            f"  {finding.severity.value:<6}{finding.code}{place}{touched}: {finding.message}"
        )
    return [*lines, ""]


def _place(at: tuple[float, float], unit: Unit) -> str:
    return f"x {format_length(at[0], unit)}, y {format_length(at[1], unit)}"


def _files(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir())
