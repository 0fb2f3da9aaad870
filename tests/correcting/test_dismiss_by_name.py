"""A table `dismiss` names its finding: what is read, what is refused, what the record keeps."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.model import Panel
from rubbing2pattern.record.panel import panel_of, read_record, record_of
from tests.correcting.making import FOUR, HEAD, corrected, piece, refused, said, text_of
from tests.running import listing, refused as refused_run, run_here as run

LONG = "1" * 4300
"""As many digits as Python reads in one number; one more and it refuses."""


def dismiss(name: str, more: str = "", why: str = "looked at") -> str:
    return f'[[dismiss]]\nname = "{name}"\nwhy = "{why}"\n{more}'


def doubted(*names: str) -> Panel:
    """Return a panel with faint regions of these names, along a line in its third piece."""
    findings = (
        Finding(
            Code.FAINT_REGION, Severity.CHECK, "Faint here.", (5.0 + 6.0 * k, 75.0), (3,), id=name
        )
        for k, name in enumerate(names)
    )
    return replace(FOUR, findings=tuple(findings))


TWO = doubted("F3", "F14")
MANY = doubted(*(f"F{k}" for k in range(1, 31)))


def test_a_name_is_read_and_nothing_else_is_needed() -> None:
    (table,) = said(dismiss("F14")).dismiss
    assert (table.name, table.code, table.at, table.piece) == ("F14", None, None, None)
    assert said(dismiss("F999999")).dismiss[0].name == "F999999"


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ('"f14"', ["not the name of a finding", 'write name = "F14"']),
        ("14", ["not the name of a finding", 'write name = "F14"']),
        ('" F14 "', ['write name = "F14"']),
        ('"C14"', ["the letter F", 'write name = "F14"']),
        ('""', ["the letter F"]),
        ('"F0"', ["the letter F"]),
        ('"F1000000"', ["6 digits at most"]),
        ('"F\u0661"', ["the letter F"]),
        ('"F14\\n"', ["the letter F"]),
        ('"F1\\u001b[31m4\\u0000"', ["the letter F"]),
        (f'"F{LONG}"', ["6 digits at most"]),
        (f'"f{LONG}"', ["6 digits at most"]),
        (LONG, ["6 digits at most"]),
        (f"{LONG}1", ["a number has more than 4300 digits"]),
        (f"0x{LONG}", ["6 digits at most"]),
        ("true", ["the letter F"]),
        ("[]", ["the letter F"]),
        ("F14", ["a text needs quotation marks", 'write name = "F14"']),
    ],
)
def test_what_is_no_name_is_refused_with_the_right_form(given: str, words: list[str]) -> None:
    text = f'{HEAD}[[dismiss]]\nname = {given}\nwhy = "looked at"\n'
    with pytest.raises(UsageFault) as caught:
        corrections_from(text.encode(), "doubts.toml")
    message = str(caught.value)
    assert message.startswith("doubts.toml, line 4") and len(message) < 300
    assert message.isprintable()
    for word in words:
        assert word in message


@pytest.mark.parametrize(
    ("more", "others"),
    [
        ("at = [5, 75]\n", "at"),
        ("piece = 3\n", "piece"),
        ('code = "faint-region"\n', "code"),
        ('code = "faint-region"\nat = [5, 75]\n', "code and at"),
    ],
)
def test_a_name_together_with_a_place_is_refused(more: str, others: str) -> None:
    with pytest.raises(UsageFault) as caught:
        said(dismiss("F14", more))
    message = str(caught.value)
    assert "line 3, dismiss 1" in message
    assert f'name = "F14" is given together with {others}, but' in message
    assert f"leave out {others}, or the name" in message


def test_neither_name_nor_code_is_refused() -> None:
    with pytest.raises(UsageFault, match=r'dismiss 1: give a name, as in name = "F14", or a code'):
        said('[[dismiss]]\nat = [5, 75]\nwhy = "looked at"\n')


def test_the_named_finding_is_dismissed_and_no_other_though_both_are_alike() -> None:
    done = corrected(TWO, dismiss("F14"))
    assert [f.id for f in done.panel.findings] == ["F3"]
    (kept,) = done.panel.dismissed
    assert (kept.finding, kept.by, kept.date, kept.why) == (
        TWO.findings[1], "A. Glazier", "2026-11-25", "looked at",
    )  # fmt: skip
    (change,) = done.applied.changes
    assert change.given == {"name": "F14", "why": "looked at"}
    assert change.did == "F14 faint-region dismissed"
    assert done.applied.findings_gone == ("F14",)


def test_the_record_is_the_same_as_by_code_and_place() -> None:
    by_place = dismiss("", "").replace('name = ""', 'code = "faint-region"\nat = [11, 75]')
    named, placed = (corrected(TWO, text).panel for text in (dismiss("F14"), by_place))
    assert named.dismissed == placed.dismissed and named.findings == placed.findings
    again = panel_of(record_of(named, {}))
    assert text_of(again) == text_of(named)


def test_a_name_means_the_panel_before_the_file() -> None:
    """Renumbering changes the piece of the finding; its name stays."""
    text = dismiss("F3") + "[[renumber]]\npiece = 3\nnumber = 9\n"
    done = corrected(TWO, text).panel
    assert [d.finding.id for d in done.dismissed] == ["F3"] and piece(done, 9)
    made = "[[split_piece]]\npiece = 1\nfrom = [0, 200]\nto = [100, 210]\n"
    refused(TWO, made + dismiss("F15"), "dismiss 1: there is no finding F15; this panel has F3")


def test_an_unknown_name_gets_all_names_or_the_nearest() -> None:
    refused(TWO, dismiss("F99"), "there is no finding F99; this panel has F3, F14")
    refused(MANY, dismiss("F99"), "of the 30 of this panel the nearest are F28, F29, F30")
    refused(doubted(*(f"F{k}" for k in range(1, 40, 2))), dismiss("F20"), "are F17, F19, F21")
    refused(FOUR, dismiss("F1"), "there is no finding F1: the panel has none")


def test_a_name_that_was_dismissed_or_settled_before_says_so() -> None:
    first = corrected(TWO, dismiss("F14")).panel
    refused(first, dismiss("F14", why="once more"), "F14 was dismissed already, by A. Glazier on")
    gap = Finding(Code.BRIDGED_GAP, Severity.CHECK, "A gap.", (100.0, 75.0), id="F5")
    settled = corrected(replace(FOUR, findings=(gap,)), "[[remove_lead]]\nat = [100, 75]\n").panel
    refused(settled, dismiss("F5"), "F5 was settled already", "(corrections-1.toml)")


def test_one_that_became_graver_is_dismissed_again_by_its_name() -> None:
    first = corrected(TWO, dismiss("F14")).panel
    graver = replace(TWO.findings[1], severity=Severity.WRONG)
    opened = replace(first, findings=(*first.findings, graver))
    again = corrected(opened, dismiss("F14", why="once more")).panel
    assert [f.id for f in again.findings] == ["F3"]
    assert again.dismissed[-1].finding.severity is Severity.WRONG


def test_one_finding_is_dismissed_once_by_a_file() -> None:
    refused(TWO, dismiss("F14") * 2, "dismiss 2: finding F14 is dismissed already by dismiss 1")
    both = dismiss("F14") + '[[dismiss]]\ncode = "faint-region"\npiece = 3\nwhy = "all"\n'
    kept = corrected(TWO, both).panel.dismissed
    assert [(d.finding.id, d.why) for d in kept] == [("F14", "looked at"), ("F3", "all")]


def test_the_command_dismisses_by_name_or_leaves_every_byte(tmp_path: Path) -> None:
    folder, file = tmp_path / "n4 3b", tmp_path / "settled.toml"
    folder.mkdir()
    (folder / "panel.json").write_text(text_of(TWO), encoding="utf-8")
    before = listing(folder)
    for text, word in (
        (dismiss("F7"), "this panel has F3, F14"),
        (dismiss("F14", "at = [5, 75]\n"), "leave out at, or the name"),
        (dismiss("f14"), 'write name = "F14"'),
        (dismiss(f"F{LONG}"), "6 digits at most"),
    ):
        file.write_text(HEAD + text, encoding="utf-8")
        refused_run(run("correct", folder, file), 2, word)
        assert listing(folder) == before
    file.write_text(HEAD + dismiss("F14"), encoding="utf-8")
    result = run("correct", folder, file)
    assert result.returncode == 0, result.stderr
    assert "dismiss 1: F14 faint-region dismissed" in result.stdout
    kept = read_record(folder / "panel.json")
    assert [f.id for f in kept.findings] == ["F3"]
    assert [(d.id, d.by, d.why) for d in kept.dismissed] == [("F14", "A. Glazier", "looked at")]
