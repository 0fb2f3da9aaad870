"""Papers and print scales: what is read, what is refused, what a folder keeps."""

from __future__ import annotations

from pathlib import Path

import pytest

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.options import Options
from rubbing2pattern.options.paper import PaperOptions, parse_papers, parse_print_scale
from rubbing2pattern.options.setting import with_settings
from rubbing2pattern.workflows.kept_options import options_of
from rubbing2pattern.workflows.provenance import plain
from tests.running import refused, run_here


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("A4,Letter", ["A4", "Letter"]),
        ("a3", ["A3"]),
        ("tabloid", ["Tabloid"]),
        ("600x900mm", ["600x900mm"]),
        ("24 x 36 in", ["609.6x914.4mm"]),
        ("ansi c", ["ANSI-C"]),
        ("auto", ["A4"]),
        ("NONE", []),
    ],
)
def test_papers(text: str, names: list[str]) -> None:
    assert [sheet.name for sheet in PaperOptions(papers=parse_papers(text)).sheets("mm")] == names


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("A5", "148 x 210 mm, too small for tiles.*200 mm or more"),
        ("199x500mm", "too small"),
        ("6m x 1m", "6000 x 1000 mm, but a page is 5000 mm at most"),
        ("B4", "cannot read the sheet 'B4'.*A4"),
        ("A4,a4", "the paper A4 is given twice"),
        ("A4,none", "write none alone"),
        (" , ", "names no paper"),
        ("../A4", "cannot read the sheet"),
        ("0x900mm", "a side that is 0"),
    ],
)
def test_bad_papers_are_refused(text: str, message: str) -> None:
    with pytest.raises(UsageFault, match=message):
        parse_papers(text)


@pytest.mark.parametrize(
    ("text", "check_mm", "factors"),
    [
        ("1.003x0.998", 100.0, (1.003, 0.998)),
        ("1 × 0.998", 100.0, (1.0, 0.998)),
        ("100.3mm,99.8mm", 100.0, (1.003, 0.998)),
        ("10.03 cm, 99.8 mm", 100.0, (1.003, 0.998)),
        ("4 1/32 in, 4in", 101.6, (1.0078125, 1.0)),
    ],
)
def test_print_scales(text: str, check_mm: float, factors: tuple[float, float]) -> None:
    """The same print, given as factors and as lengths, is the same scale."""
    assert parse_print_scale(text, check_mm) == pytest.approx(factors, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("1.003", "cannot read the print scale"),
        ("100.3,99.8", "cannot read the print scale.*100.3mm,99.8mm"),
        ("100.3x99.8", "100.3 across, but must lie from 0.95 to 1.05.*fitted to the page"),
        ("1x0.94", "0.94 up.*fitted"),
        ("nan x 1", "cannot read"),
        ("100.3mm", "cannot read"),
        ("100.3mm,99.8mm,100mm", "cannot read"),
        ("100.3mm,99.8 ells", "cannot read the length"),
        ("0mm,99.8mm", "0 across"),
    ],
)
def test_bad_print_scales_are_refused(text: str, message: str) -> None:
    with pytest.raises(UsageFault, match=message):
        parse_print_scale(text, 100.0)


def test_the_choices_go_through_the_record() -> None:
    """What `correct` takes from the record is what `trace` was given."""
    settings = ["paper.papers=A3,Letter", "paper.mirrored=yes", "paper.print_up=0.998"]
    options = with_settings(Options(), settings)
    written = {name: plain(given) for name, given in options.changed().items()}
    assert written == {
        "paper.papers": ["A3", "Letter"],
        "paper.mirrored": True,
        "paper.print_up": 0.998,
    }
    assert options_of({"options": written}) == options


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--paper", "A5"), "too small for tiles"),
        (("--print-scale", "1.2x1"), "1.2 across"),
        (("--print-scale", "100.3,99.8"), "cannot read the print scale"),
    ],
)
def test_the_command_refuses_them_before_the_picture_is_read(
    tmp_path: Path, arguments: tuple[str, str], said: str
) -> None:
    folder = tmp_path / "out"
    result = run_here("trace", tmp_path / "no.jpg", "--sheet", "A1", "-o", folder, *arguments)
    refused(result, 2, said)
    assert not folder.exists()
