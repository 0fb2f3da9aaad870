"""The pages for users and developers agree with the program."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest

from rubbing2pattern import errors
from rubbing2pattern.cli import main
from rubbing2pattern.documents.describe import documents_page
from rubbing2pattern.documents.registry import DOCUMENTS
from rubbing2pattern.findings import Code, Severity
from rubbing2pattern.guide.topics import TOPICS
from rubbing2pattern.trade.cautions import CAUTIONS

ROOT = Path(__file__).parents[1]
PAGES = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")])
LINK = re.compile(r"\]\(([^)#:]*)(#[^)]*)?\)|(?:src|href)=\"([^\"#:]+)\"")
COMMAND = re.compile(r"^ {4,}rubbing2pattern ([a-z]+)(.*)$", re.MULTILINE)
MOST_WORDS = 900
"""Of the README: what a person in a hurry reads."""


def text(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_every_link_leads_somewhere(page: Path) -> None:
    for in_brackets, part, in_quotes in LINK.findall(page.read_text(encoding="utf-8")):
        named = in_brackets or in_quotes
        target = page.parent / named if named else page
        assert target.exists(), f"{page.name} links to {target}"
        if part:
            assert part in anchors(target), f"{page.name} links to {target.name}{part}"


def anchors(page: Path) -> set[str]:
    """Give what a link to a heading of a page may end in."""
    heads = re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {"#" + re.sub(r"[^\w\s-]", "", head).lower().replace(" ", "-") for head in heads}


def test_the_readme_and_the_index_have_links() -> None:
    assert len(LINK.findall(text("README.md"))) > 20
    assert len(LINK.findall(text("docs/index.md"))) > 20


def test_the_readme_is_for_a_person_in_a_hurry() -> None:
    assert len(text("README.md").split()) <= MOST_WORDS


def test_the_readme_leads_to_the_page_of_every_command() -> None:
    named = set(re.findall(r"\]\(docs/([a-z-]+)\.md\)", text("README.md")))
    table = text("README.md").split("## What do you want to do?")[1].split("## ")[0]
    for topic in TOPICS.values():
        for command in {*topic.commands} - {"demo"}:
            (row,) = [line for line in table.splitlines() if f"`{command}`" in line]
            assert topic.name in named and (command == "targets" or f"docs/{topic.name}.md" in row)


def test_the_readme_gives_every_caution_in_the_words_of_the_documents() -> None:
    said = " ".join(text("README.md").split())
    for caution in CAUTIONS:
        assert f"- {caution}" in said


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_every_command_line_on_a_page_names_a_command_and_its_options(page: Path) -> None:
    for name, rest in COMMAND.findall(page.read_text(encoding="utf-8")):
        assert name in main.commands, f"{page.name}: {name}"
        known = {*options(main.commands[name]), "--help"}
        assert set(re.findall(r"(?<!\S)--[a-z][a-z-]+", rest)) <= known, (
            f"{page.name}: {name}{rest}"
        )


def test_the_readme_begins_with_the_job_and_the_two_commands() -> None:
    first = text("README.md").split("\n\n")
    assert first[0] == "# rubbing2pattern"
    assert first[1].startswith("A workshop that restores leaded windows")
    assert first[4].startswith("![") and "docs/pictures/" in first[4]
    assert "make demo" in text("README.md").split("## ")[0]
    assert "make test" in text("README.md").split("## ")[0]


def options(command: click.Command) -> set[str]:
    named = (name for p in command.params for name in (*p.opts, *p.secondary_opts))
    return {name for name in named if name.startswith("--")}


def test_the_page_of_tracing_names_every_option_of_trace_and_no_other() -> None:
    known = options(main.commands["trace"])
    everywhere = known.union(*(options(command) for command in main.commands.values()))
    named = set(re.findall(r"--[a-z][a-z-]+", text("docs/tracing.md")))
    assert known - {"--output"} <= named
    assert named <= everywhere | {"--help"}


def test_the_page_for_scripts_tells_every_exit_code() -> None:
    page = text("docs/command-line.md")
    told = {int(row) for row in re.findall(r"^\| (\d+) \|", page, re.MULTILINE)}
    family = {kind.exit_code for kind in errors.RubbingError.__subclasses__()}
    fixed = {errors.EXIT_DONE, errors.EXIT_DEFECT, errors.EXIT_FINDINGS, errors.EXIT_INTERRUPTED}
    assert told == family | fixed | {errors.EXIT_SOME_FAILED}


def test_the_page_of_documents_says_what_each_output_is_for() -> None:
    page = text("docs/documents.md").partition("## Loose pieces")[0]
    rows = re.findall(r"^\| `([a-zA-Z0-9.*-]+)` \| (.+) \|$", page, re.MULTILINE)
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


def test_the_changelog_puts_every_entry_of_a_version_into_a_group() -> None:
    before, *versions = re.split(r"^## ", text("CHANGELOG.md"), flags=re.MULTILINE)
    assert versions and "\n- " not in before
    for version in versions:
        assert re.match(r"\d+\.\d+\.\d+ \((not yet released|\d{4}-\d{2}-\d{2})\)\n", version)
        loose, *groups = re.split(r"^### ", version, flags=re.MULTILINE)
        assert "\n- " not in loose
        names = [group.split("\n")[0] for group in groups]
        assert names == [name for name in ("Added", "Changed", "Fixed") if name in names]
        assert names and all("\n- " in group for group in groups)
