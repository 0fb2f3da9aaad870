"""The pages for users and developers agree with the program."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest

from rubbing2pattern import errors
from rubbing2pattern.cli import main
from rubbing2pattern.documents.describe import documents_page, readme_with_documents
from rubbing2pattern.documents.registry import DOCUMENTS
from rubbing2pattern.findings import Code, Severity

ROOT = Path(__file__).parents[1]
PAGES = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")])
LINK = re.compile(r"\]\(([^)#:]+)(?:#[^)]*)?\)|(?:src|href)=\"([^\"#:]+)\"")


def text(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_every_link_leads_somewhere(page: Path) -> None:
    for in_brackets, in_quotes in LINK.findall(page.read_text(encoding="utf-8")):
        target = page.parent / (in_brackets or in_quotes)
        assert target.exists(), f"{page.name} links to {target}"


def test_the_readme_begins_with_the_job_and_the_two_commands() -> None:
    first = text("README.md").split("\n\n")
    assert first[0] == "# rubbing2pattern"
    assert first[1].startswith("A workshop that restores leaded windows")
    assert "make demo" in text("README.md").split("## ")[0]
    assert "make test" in text("README.md").split("## ")[0]


def options(command: click.Command) -> set[str]:
    named = (name for p in command.params for name in (*p.opts, *p.secondary_opts))
    return {name for name in named if name.startswith("--")}


def test_the_readme_names_every_option_of_trace_and_no_other() -> None:
    known = options(main.commands["trace"])
    everywhere = known.union(*(options(command) for command in main.commands.values()))
    named = set(re.findall(r"--[a-z][a-z-]+", text("README.md")))
    assert known - {"--output"} <= named
    assert named <= everywhere | {"--help"}


def test_the_readme_tells_every_exit_code() -> None:
    told = {int(row) for row in re.findall(r"^\| (\d+) \|", text("README.md"), re.MULTILINE)}
    family = {kind.exit_code for kind in errors.RubbingError.__subclasses__()}
    fixed = {errors.EXIT_DONE, errors.EXIT_DEFECT, errors.EXIT_FINDINGS, errors.EXIT_INTERRUPTED}
    assert told == family | fixed | {errors.EXIT_SOME_FAILED}


def test_the_readme_tells_what_each_output_is_for() -> None:
    readme = text("README.md")
    assert readme == readme_with_documents(readme), "make docs writes its table of documents anew"
    rows = re.findall(r"^\| `([a-zA-Z0-9.*-]+)` \| (.+) \|$", readme, re.MULTILINE)
    assert [name for name, _ in rows if "." in name] == [document.name for document in DOCUMENTS]


def test_every_finding_is_explained() -> None:
    rows = dict(re.findall(r"^\| `?([a-z-]+)`? \| (.+) \|$", text("docs/figures.md"), re.MULTILINE))
    for code in Code:
        assert code.value in rows, f"docs/figures.md does not explain {code.value}"
    for severity in Severity:
        assert severity.value in rows


def test_the_page_of_documents_is_made_from_the_program() -> None:
    assert text("docs/documents.md") == documents_page(), "make docs writes the page anew"


def test_the_change_that_is_shown_to_developers_is_in_the_program() -> None:
    (shown,) = re.findall(r"```diff\n(.+?)```", text("DEVELOPERS.md"), re.DOTALL)
    files = shown.split("+++ ")[1:]
    assert len(files) == 3, "a document is a module, a row and a test"
    for name, *lines in (part.splitlines() for part in files):
        there = text(name).splitlines()
        for line in lines:
            assert line == " …" or line.removeprefix("+") in there, f"{name} has no line {line!r}"


def test_the_changelog_has_the_current_version() -> None:
    from rubbing2pattern import __version__

    assert f"## {__version__}" in text("CHANGELOG.md")
