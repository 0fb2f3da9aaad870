"""The page of promises agrees with what is tested and installed."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from importlib.metadata import metadata

from tests.running import ROOT


def rows(heading: str) -> Iterator[list[str]]:
    """Yield the cells of the table under a heading of the page."""
    page = (ROOT / "docs" / "reliability.md").read_text(encoding="utf-8")
    under = page.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    lines = [line for line in under.splitlines() if line.startswith("| ")]
    for line in lines[2:]:
        yield [cell.strip() for cell in line.strip("|").split("|")]


def test_every_promise_names_its_tests() -> None:
    """That they exist is a test of all pages."""
    promises = list(rows("Promises"))
    assert len(promises) >= 8
    for promise, meaning, tests in promises:
        assert meaning and re.fullmatch(r"(`tests/[\w/]+\.py`(, )?)+", tests), promise


def test_the_table_of_libraries_is_what_the_program_needs() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    needed = [re.split(r"[<>=]", each)[0] for each in project["dependencies"]]
    assert sorted(row[0] for row in rows("What is installed")) == needed


def test_the_licences_are_those_that_the_libraries_state() -> None:
    compared = 0
    for name, licence, *_ in rows("What is installed"):
        stated = metadata(name).get("License-Expression")
        if stated is not None:
            assert licence.split(";")[0] == stated, name
            compared += 1
    assert compared >= 5


def test_the_page_has_the_command_of_the_bill() -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    page = (ROOT / "docs" / "reliability.md").read_text(encoding="utf-8")
    assert "\nbill:" in makefile and "`make bill`" in page
