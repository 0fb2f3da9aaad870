"""Which reference stands behind which photograph on the command line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
import pytest

from rubbing2pattern.cli.photographs import PhotographsCommand, photograph_options, photographed
from rubbing2pattern.errors import RubbingError
from rubbing2pattern.inputs.reference import Dpi, Reference, Ruler

RULER = "0,0 100,0 50mm"
Found = tuple[list[Path], list[Reference]]


@click.command(cls=PhotographsCommand)
@photograph_options
@click.option("--turn-over", is_flag=True)
@click.pass_context
def command(
    ctx: click.Context, /, photos: tuple[Path, ...], turn_over: bool, **given: Any
) -> Found:
    """Return what was given."""
    return photographed(ctx, photos, given)


def given(*line: str) -> Found:
    found: Found = command.main(list(line), standalone_mode=False)
    return found


def test_photographs_by_place_share_one_reference() -> None:
    photos, references = given("a.jpg", "--dpi", "200", "b.jpg")
    assert photos == [Path("a.jpg"), Path("b.jpg")]
    assert references == [Dpi(200.0)] * 2


def test_each_photograph_has_the_reference_that_follows_it() -> None:
    line = ("--photo", "a.jpg", "--dpi=200", "--turn-over", "--photo", "b.jpg", "--ruler", RULER)
    photos, (first, second) = given(*line)
    assert photos == [Path("a.jpg"), Path("b.jpg")]
    assert first == Dpi(200.0) and isinstance(second, Ruler)


def test_a_reference_before_all_serves_those_without_one() -> None:
    line = ("--dpi", "300", "--photo", "a.jpg", "--photo", "b.jpg", "--dpi", "200")
    assert given(*line)[1] == [Dpi(300.0), Dpi(200.0)]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (("--photo", "a.jpg", "--dpi", "200", "--photo", "b.jpg"), "b.jpg: give exactly one"),
        (("--photo", "a.jpg", "--dpi", "2", "--ruler", RULER), "a.jpg: .*--dpi and --ruler"),
        (("--photo", "a.jpg", "--dpi", "200", "--dpi", "300"), "a.jpg: .*--dpi and --dpi"),
        (("--photo", "a.jpg", "--marks", "none.csv"), "a.jpg: cannot read none.csv"),
        (("a.jpg", "--dpi", "200", "--dpi", "300"), "^give exactly one .*--dpi and --dpi"),
        (("a.jpg", "--photo", "b.jpg", "--dpi", "200"), "by place or with --photo"),
        (("--dpi", "200"), "or give --photo FILE"),
    ],
)
def test_what_is_wrong_names_the_photograph(line: tuple[str, ...], words: str) -> None:
    with pytest.raises((RubbingError, click.UsageError), match=words):
        given(*line)
