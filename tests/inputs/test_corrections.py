"""The file of corrections: what is read; a bad one is refused with line, table and field."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Code
from rubbing2pattern.inputs.correction_tables import TABLES, Corrections
from rubbing2pattern.inputs.corrections import corrections_from, read_corrections
from tests.correcting.making import HEAD
from tests.running import ROOT


def test_every_kind_of_correction_is_read() -> None:
    text = """
    [[add_lead]]
    from = [1, "1 in"]
    to = [-2.5, "-1/2 in"]
    through = [[3, 4], [5, 6]]
    width_mm = "1/4 in"
    free_end = true
    [[remove_lead]]
    at = [1, 2]
    [[move_lead]]
    came = "C3"
    by = [1, 0]
    [[move_joint]]
    joint = "J3"
    to = [1, 0]
    [[set_width]]
    came = "C3"
    width_mm = 6
    [[join_pieces]]
    pieces = [3, 4]
    [[split_piece]]
    piece = 3
    from = [1, 2]
    to = [3, 4]
    [[dismiss]]
    code = "free-end"
    at = [1, 2]
    why = "a strap"
    [[seen_from]]
    side = "inside"
    [[renumber]]
    piece = 3
    number = 5
    """
    content = (HEAD + text).encode()
    file = corrections_from(content)
    assert file.sha256 == hashlib.sha256(content).hexdigest()
    read = file.corrections
    assert (read.by, read.date, read.remark) == ("A. Glazier", "2026-11-25", "")
    assert {name for name, _, _ in read.tables()} == set(TABLES)
    lead = read.add_lead[0]
    assert (lead.start, lead.end) == ((1.0, 25.4), (-2.5, -12.7))
    assert lead.through == ((3.0, 4.0), (5.0, 6.0))
    assert lead.width_mm == 6.35 and lead.free_end
    assert read.dismiss[0].code is Code.FREE_END


def test_a_date_may_be_a_text() -> None:
    text = 'by = "A"\ndate = "2026-11-25"\n[[remove_lead]]\ncame = "C1"\n'
    assert corrections_from(text.encode()).corrections.date == "2026-11-25"


LEAD = "[[add_lead]]\nfrom = [1, 2]\nto = [3, 4]\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("by = \ndate = 3", ["not TOML", "line 1"]),
        ('date = 2026-11-25\n[[remove_lead]]\ncame = "C1"\n', ["by: is missing"]),
        ('by = "A"\n[[remove_lead]]\ncame = "C1"\n', ["date: is missing"]),
        ('by = " "\ndate = 2026-11-25\n' + LEAD, ["line 1, by"]),
        ('by = "A"\ndate = 2026-11-25T10:00:00\n' + LEAD, ["line 2, date", "2026-11-25"]),
        ('by = "A"\ndate = "2026-02-30"\n' + LEAD, ["line 2, date", "not a date"]),
        (HEAD, ["no correction"]),
        (HEAD + "colour = 3\n" + LEAD, ["line 3, colour: there is no such field"]),
        (HEAD + "[[glaze]]\nat = [1, 2]\n", ["line 3, glaze: there is no such field"]),
        (HEAD + LEAD + "[[add_lead]]\nfrom = [1, 2]\n", ["line 6, add_lead 2, to: is missing"]),
        (HEAD + LEAD + "heart = 3\n", ["line 6, add_lead 1, heart: there is no such field"]),
        (HEAD + "[add_lead]\nfrom = [1, 2]\n", ["[[add_lead]]", "two brackets"]),
        (HEAD + "[[remove_lead]]\nat = [1, 2, 3]\n", ["line 4, remove_lead 1, at"]),
        (HEAD + '[[remove_lead]]\nat = [1, "2 ells"]\n', ["remove_lead 1, at 2", "2 ells"]),
        (HEAD + "[[remove_lead]]\nat = [1, nan]\n", ["remove_lead 1, at 2", "finite"]),
        (HEAD + "[[remove_lead]]\n", ["remove_lead 1: give exactly one of at, came"]),
        (HEAD + '[[remove_lead]]\ncame = "C1"\nat = [1, 2]\n', ["exactly one of at, came"]),
        (HEAD + '[[remove_lead]]\ncame = "lead 1"\n', ["remove_lead 1, came"]),
        (HEAD + '[[move_lead]]\ncame = "C1"\n', ["exactly one of to, by"]),
        (HEAD + '[[set_width]]\ncame = "C1"\nwidth_mm = 0.2\n', ["set_width 1, width_mm"]),
        (HEAD + '[[set_width]]\ncame = "C1"\nwidth_mm = true\n', ["set_width 1, width_mm"]),
        (HEAD + "[[join_pieces]]\npieces = [3]\n", ["join_pieces 1, pieces"]),
        (HEAD + '[[dismiss]]\ncode = "ugly"\nwhy = "no"\n', ["dismiss 1, code", "'ugly'"]),
        (HEAD + '[[dismiss]]\ncode = "free-end"\nwhy = ""\n', ["dismiss 1, why"]),
        (HEAD + "[[renumber]]\npiece = 1\nnumber = 0\n", ["renumber 1, number"]),
        (
            HEAD
            + '[[set_width]]\ncame = "C1"\nwidth_mm = 5\n[[set_width]]\ncame = C26\nwidth_mm = 6\n',
            ["line 7, set_width 2, came: a text needs quotation marks", 'write came = "C26"'],
        ),
        (
            HEAD + "[[remove_lead]]\nat = 92.7, 198.9  # in the middle\n",
            ["line 4, remove_lead 1, at: a place needs brackets", "write at = [92.7, 198.9]"],
        ),
        (
            HEAD + "[[move_lead]]\nto: [3, 4]\n",
            ["line 4, move_lead 1, to: the sign after a key is =", "write to = [3, 4]"],
        ),
        (
            HEAD + '[[set_width]]\ncame = "C1"\nwidth_mm = 6,1\n',
            ["line 5, set_width 1, width_mm: a number needs a point", "write width_mm = 6.1"],
        ),
        (
            HEAD + '[[set_width]]\ncame = "C1"\nwidth_mm = 1/4 in\n',
            ["line 5, set_width 1, width_mm: a text needs", 'write width_mm = "1/4 in"'],
        ),
        ("by = A. Glazier\n", ["line 1, by: a text needs", 'write by = "A. Glazier"']),
        (
            'by = "A"\ndate = 25.11.2026\n',
            ["line 2, date: a date is year-month-day", "write date = 2026-11-25"],
        ),
        (HEAD + '[[set_width]]\ncame = "c26"\nwidth_mm = 6\n', ['write came = "C26"']),
        (HEAD + "[[set_width]]\ncame = 26\nwidth_mm = 6\n", ['write came = "C26"']),
        (HEAD + '[[move_joint]]\njoint = "?"\nto = [1, 2]\n', ['write joint = "J5"']),
        (HEAD + '[[width]]\ncame = "C1"\n', ["line 3, width", "the nearest name is set_width"]),
        (HEAD + LEAD + "width = 3\n", ["add_lead 1, width", "the nearest name is width_mm"]),
    ],
)
def test_a_bad_file_is_refused_with_line_and_field(text: str, words: list[str]) -> None:
    with pytest.raises(UsageFault) as caught:
        corrections_from(text.encode(), "doubts.toml")
    message = str(caught.value)
    assert message.startswith("doubts.toml") and "\n" not in message
    for word in words:
        assert word in message


def test_a_file_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(UsageFault, match="cannot read"):
        read_corrections(tmp_path / "none.toml")
    with pytest.raises(UsageFault, match="UTF-8"):
        corrections_from(b"by = '\xff'")
    long = tmp_path / "long.toml"
    long.write_bytes(b"#" * 1_000_001)
    with pytest.raises(UsageFault, match="1000001 bytes"):
        read_corrections(long)


def test_the_page_tells_every_table_and_field() -> None:
    page = (ROOT / "docs" / "corrections.md").read_text(encoding="utf-8")
    for name in TABLES:
        section = page.split(f"## `{name}`")[1].split("\n## ")[0]
        table = Corrections.model_fields[name].annotation.__args__[0]
        for field, said in table.model_fields.items():
            assert f"| `{said.alias or field}` |" in section, f"{name}: {field}"
