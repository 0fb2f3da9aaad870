"""One flag means one thing in all commands, and every command that sums something up has it."""

from __future__ import annotations

import click
import pytest

from rubbing2pattern.cli.main import main

SUMMED_UP = (
    "trace", "demo", "batch", "correct", "lists", "match", "redraw", "compare", "archive", "verify"
)  # fmt: skip
WITH_LENGTHS = tuple(name for name in SUMMED_UP if name not in ("archive", "verify"))


def option(command: str, flag: str) -> click.Option:
    found = [p for p in main.commands[command].params if flag in p.opts]
    assert len(found) == 1, f"{command} has no {flag}"
    assert isinstance(found[0], click.Option)
    return found[0]


@pytest.mark.parametrize("flag", ["--json", "--quiet", "--strict"])
def test_every_command_that_sums_up_has_the_flag_with_one_meaning(flag: str) -> None:
    model = option("trace", flag)
    for name in SUMMED_UP:
        here = option(name, flag)
        assert here.help == model.help and here.is_flag, f"{name} {flag}: {here.help}"


def test_units_are_those_of_lists_and_summary() -> None:
    model = option("trace", "--units").help
    for name in WITH_LENGTHS:
        here = option(name, "--units")
        assert here.help is not None and model is not None
        assert here.help.removesuffix("  [as before]") == model, name
        assert list(here.type.choices) == ["mm", "in"], name  # type: ignore[attr-defined]


def test_a_panel_is_an_identifier_wherever_help_shows_it() -> None:
    for command in main.commands.values():
        for parameter in command.params:
            if "--panel" in parameter.opts and not getattr(parameter, "hidden", False):
                assert "Identifier" in (getattr(parameter, "help", "") or "")


def test_pictures_are_limited_by_one_flag_wherever_they_are_read() -> None:
    for name in ("trace", "batch", "match"):
        assert option(name, "--max-megapixels").help == option("trace", "--max-megapixels").help
