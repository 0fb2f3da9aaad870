"""The corrections of the pattern that loose glass asks for, as a file to settle and apply."""

from __future__ import annotations

from collections.abc import Iterator

from rubbing2pattern.findings import Code
from rubbing2pattern.inputs.edits import table_lines
from rubbing2pattern.matching.pattern_offer import PATTERN_NAME
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.units import Unit


def pattern_toml(matching: Matching, units: Unit) -> str:
    """Write the file; who settles it and when is left open, for no program settles anything."""
    return "\n".join([*_lines(matching, units), ""])


def _lines(matching: Matching, units: Unit) -> Iterator[str]:
    yield f"# The loose glass asks for these corrections of panel {matching.panel.name}. Look at"
    yield "# each on the rubbing or at the panel and delete what is not so. Say who settles it and"
    yield "# when (as in 2026-11-25) between the quotation marks; then, with the panel's folder:"
    yield f"#     rubbing2pattern correct FOLDER {PATTERN_NAME}"
    yield 'by = ""'
    yield 'date = ""'
    yield 'remark = "asked for by loose glass"'
    yield ""
    for finding in matching.matches.findings:
        if finding.code is Code.PATTERN_OFF and "file" in finding.names:
            yield f"# {finding.sentence(units)}"
    for edit in matching.edits:
        yield ""
        yield from table_lines(edit)
