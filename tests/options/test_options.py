"""Options are checked, can be given as text, and are described as they are."""

from __future__ import annotations

import re
from dataclasses import fields
from typing import Any

import pytest

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.options import Options
from rubbing2pattern.options.base import Part, choice, value
from rubbing2pattern.options.describe import options_page, options_text
from rubbing2pattern.options.lead import LeadOptions
from rubbing2pattern.options.setting import with_settings
from tests.running import ROOT

PAGE = ROOT / "docs" / "options.md"

GROUPS = [group.name for group in fields(Options)]


def numbers(group: str) -> list[str]:
    """Return the names of the options of a group that have a range."""
    found = fields(getattr(Options(), group))
    return [item.name for item in found if "low" in item.metadata]


def test_most_options_have_a_range() -> None:
    """So that the tests over ranges hold something."""
    assert sum(len(numbers(group)) for group in GROUPS) > 0.8 * len(Options().values())


def declared(group: str, name: str) -> dict[str, Any]:
    found = {item.name: item for item in fields(getattr(Options(), group))}
    return dict(found[name].metadata)


@pytest.mark.parametrize("group", GROUPS)
def test_every_option_says_why_its_default_is_what_it_is(group: str) -> None:
    for item in fields(getattr(Options(), group)):
        assert item.metadata.get("reason"), f"{group}.{item.name} gives no reason"


FILLING = re.compile("a|an|the|of|in|on|at|to|for|by|is|are|be|its?|that|this|with|and|or|how")
UNITS = {"mm", "mm2", "px", "deg", "mp", "mb", "pt", "mrad"}


def says_more_than(name: str, meaning: str) -> bool:
    """Tell whether a meaning has three words or more that are not in the option's name."""
    words = re.findall(r"[a-z]+", meaning.lower())
    own = {word.rstrip("s") for word in name.split("_")} | UNITS
    new = {word for word in words if word.rstrip("s") not in own and not FILLING.fullmatch(word)}
    return len(new) >= 3


@pytest.mark.parametrize("group", GROUPS)
def test_every_option_says_in_one_sentence_what_it_changes(group: str) -> None:
    for item in fields(getattr(Options(), group)):
        meaning, name = item.metadata.get("meaning", ""), f"{group}.{item.name}"
        assert re.fullmatch(r"[A-Z](?:[^.]|\.\w)+\.", meaning), f"{name}: {meaning!r}"
        assert len(meaning) <= 100, f"{name}: a short sentence, please"
        assert says_more_than(item.name, meaning), f"{name} only repeats its name: {meaning!r}"
        assert meaning.rstrip(".").lower() != item.metadata["reason"].lower(), name


def test_a_meaning_that_only_repeats_the_name_is_seen() -> None:
    assert not says_more_than("gap_mm", "The gap in mm.")
    assert not says_more_than("least_sheet_share", "Least share of the sheet.")
    assert not says_more_than("overlap_mm", "")
    assert says_more_than("gap_mm", "A boundary is cut where it is not seen over this length.")


def test_an_option_without_a_meaning_cannot_be_declared() -> None:
    with pytest.raises(TypeError, match="meaning"):
        value(1.0, 0.0, 2.0, "why")  # type: ignore[call-arg]
    with pytest.raises(TypeError, match="meaning"):
        choice("word", "why")  # type: ignore[call-arg]


def test_every_group_says_whom_it_concerns_and_what_it_belongs_to() -> None:
    for held in fields(Options):
        assert isinstance(held.metadata["part"], Part), held.name
        assert held.metadata["concerns"].startswith("people who "), held.name


def test_the_options_of_the_reading_and_of_the_documents_are_all_options() -> None:
    reading, documents = (Options().values(part) for part in Part)
    assert reading.keys() & documents.keys() == set()
    assert reading | documents == Options().values()
    options = with_settings(Options(), ["paper.overlap_mm=20", "lead.margin_mm=3"])
    assert options.changed(Part.READING) == {"lead.margin_mm": 3.0}
    assert options.changed(Part.DOCUMENTS) == {"paper.overlap_mm": 20.0}
    assert options.changed() == {"lead.margin_mm": 3.0, "paper.overlap_mm": 20.0}


@pytest.mark.parametrize("group", GROUPS)
def test_groups_are_frozen_and_named_after_their_stage(group: str) -> None:
    datum = getattr(Options(), group)
    with pytest.raises((AttributeError, TypeError)):
        setattr(datum, fields(datum)[0].name, 1)
    assert type(datum).__name__.removesuffix("Options").lower().rstrip("s") == group.rstrip("s")


@pytest.mark.parametrize("group", GROUPS)
def test_a_value_outside_its_range_is_refused_by_name(group: str) -> None:
    kind = type(getattr(Options(), group))
    for name in numbers(group):
        meta = declared(group, name)
        for outside in (meta["low"] - 1, meta["high"] + 1, float("nan")):
            assert name in refusal(kind, name, outside), f"{group}.{name}={outside}"


def refusal(kind: type, name: str, value: float) -> str:
    """Return why a group of options does not take a value; nothing if it takes it."""
    try:
        kind(**{name: value})
    except UsageFault as fault:
        return str(fault)
    return ""


@pytest.mark.parametrize("group", GROUPS)
def test_the_default_lies_inside_its_range(group: str) -> None:
    for name in numbers(group):
        meta = declared(group, name)
        default = getattr(getattr(Options(), group), name)
        assert meta["low"] <= default <= meta["high"], f"{group}.{name}"


def test_numbers_with_a_length_say_so_in_their_name() -> None:
    units = ["mm", "mm2", "px", "deg", "mp", "pt"]
    for group, name in ((own, name) for own in GROUPS for name in numbers(own)):
        for part in name.removesuffix("px_per_mm").split("_")[:-1]:
            assert part not in units, f"{group}.{name}: the unit stands at the end of a name"


def test_only_changed_options_are_written() -> None:
    assert Options().changed() == {}
    options = Options(lead=LeadOptions(margin_mm=3.0))
    assert options.changed() == {"lead.margin_mm": 3.0}


def test_options_are_given_as_text_in_the_kind_of_their_default() -> None:
    options = with_settings(
        Options(),
        [
            "lead.margin_mm=3",
            "measure.least_halves = 24",
            "paper.papers=A4, 600x900mm",
            "documents.units=in",
        ],
    )
    assert options.lead.margin_mm == 3.0
    assert type(options.lead.margin_mm) is float
    assert options.measure.least_halves == 24
    assert options.paper.papers == ("A4", "600x900mm")
    assert options.documents.units == "in"
    assert Options() == with_settings(Options(), [])


def test_a_list_of_stock_widths_is_given_as_text() -> None:
    options = with_settings(Options(), ["pieces.stock=1/4in,4mm"])
    assert [(s.name, s.width_mm) for s in options.pieces.stock] == [("4 mm", 4.0), ("1/4 in", 6.35)]


@pytest.mark.parametrize(
    ("setting", "message"),
    [
        ("lead.margin_mm", "GROUP.NAME=VALUE, or help to list all options"),
        ("lead.margn_mm=3", "nearest name is 'lead.margin_mm'"),
        ("margin_mm=3", "nearest name"),
        ("=", "no option ''"),
        ("lead.margin_mm=", "not a number"),
        ("lead.margin_mm=three", "'three' is not a number"),
        ("lead.margin_mm=nan", "must lie from 0.0 to 20.0"),
        ("lead.margin_mm=99", "must lie from 0.0 to 20.0"),
        ("measure.least_halves=7.5", "not a whole number"),
        ("documents.units=ells", "mm or in"),
    ],
)
def test_a_bad_setting_is_refused_with_the_reason(setting: str, message: str) -> None:
    with pytest.raises(UsageFault, match=re.escape(message)):
        with_settings(Options(), [setting])


def test_the_page_of_options_is_current() -> None:
    assert PAGE.read_text(encoding="utf-8") == options_page(), "run: make docs"


def test_the_page_shows_every_option() -> None:
    page = options_page()
    for name in Options().values():
        group, option = name.split(".")
        section = page.split(f"\n## {group}\n")[1].split("\n## ")[0]
        assert f"| `{option}` | {declared(group, option)['meaning']} |" in section


def test_the_text_for_a_terminal_shows_every_option_and_is_narrow() -> None:
    text = options_text()
    for name in Options().values():
        assert f"\n  {name}=" in text
        meaning = declared(*name.split("."))["meaning"]
        assert meaning in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 100
    assert options_text(["paper"]) in text
    assert "tidy." not in options_text(["paper", "templates"])
