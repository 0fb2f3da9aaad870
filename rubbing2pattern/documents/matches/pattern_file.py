"""The corrections of the pattern that loose glass asks for, as a file to settle and apply."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rubbing2pattern.findings import Code
from rubbing2pattern.inputs.edits import table_lines
from rubbing2pattern.matching.pattern_offer import pattern_name
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.matching.several_panels import PanelMatched
from rubbing2pattern.units import Unit


def pattern_files(matching: Matching, units: Unit) -> Mapping[str, bytes]:
    """Write a file for each panel that is asked for corrections.

    Who settles it and when is left open, for no program settles anything.
    """
    return {
        pattern_name(own.letter): "\n".join([*_lines(own, matching, units), ""]).encode()
        for own in matching.panels
        if own.edits
    }


def _lines(own: PanelMatched, matching: Matching, units: Unit) -> Iterator[str]:
    file = pattern_name(own.letter)
    yield f"# The loose glass asks for these corrections of panel {own.panel.name}. Look at"
    yield "# each on the rubbing or at the panel and delete what is not so. Say who settles it and"
    yield "# when (as in 2026-11-25) between the quotation marks; then, with the panel's folder:"
    yield f"#     rubbing2pattern correct FOLDER {file}"
    yield 'by = ""'
    yield 'date = ""'
    yield 'remark = "asked for by loose glass"'
    yield ""
    for finding in matching.matches.findings:
        if finding.code is Code.PATTERN_OFF and finding.names.get("file") == file:
            yield f"# {finding.sentence(units, matching.label)}"
    for edit in own.edits:
        yield ""
        yield from table_lines(edit)
