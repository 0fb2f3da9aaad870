"""The pages for users and developers agree with the program."""

from __future__ import annotations

import re
from collections.abc import Iterator
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
from tests.running import ROOT
from tests.structure import house
from tests.structure.house import by_room, files_of, lines_of, no_faults, shown

PAGES: dict[str, list[Path]] = {
    "pages at the top": sorted(ROOT.glob("*.md")),
    "pages of docs": sorted((ROOT / "docs").glob("*.md")),
    "pages of other rooms": sorted(
        path for top in ("tests", "benchmarks", "training", "test_images", "rubbing2pattern")
        for path in (ROOT / top).rglob("*.md")
    ),
}  # fmt: skip
LINK = re.compile(r"\]\(([^)#:]*)(#[^)]*)?\)|(?:src|href)=\"([^\"#:]+)\"")
COMMAND = re.compile(r"^ {4,}rubbing2pattern ([a-z]+)(.*)$", re.MULTILINE)
MOST_WORDS = 900
"""Of the README: what a person in a hurry reads."""


def text(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def links_to_nothing(page: Path) -> Iterator[str]:
    for link, line in found_in(page, LINK):
        in_brackets, part, in_quotes = link.groups(default="")
        named = in_brackets or in_quotes
        target = page.parent / named if named else page
        if not target.exists():
            yield f"{shown(page)}:{line} links to {named}, which does not exist"
        elif part and part not in anchors(target):
            yield f"{shown(page)}:{line} links to {target.name}{part}, which has no such heading"


def found_in(page: Path, pattern: re.Pattern[str]) -> Iterator[tuple[re.Match[str], int]]:
    """Yield each place on a page that fits a pattern, with its line."""
    said = house.text_of(page)
    for match in pattern.finditer(said):
        yield match, said.count("\n", 0, match.start()) + 1


@pytest.mark.parametrize("room", PAGES)
def test_every_link_leads_somewhere(room: str) -> None:
    no_faults(links_to_nothing, PAGES[room])


TEST_FILE = re.compile(r"\btests/[\w/.-]+")


def named_but_gone(path: Path) -> Iterator[str]:
    """Files and folders of the tests that a page or a docstring names and that do not exist."""
    for named, line in found_in(path, TEST_FILE):
        if not (ROOT / named.group().rstrip("./")).exists():
            yield f"{shown(path)}:{line} names {named.group()}"


@pytest.mark.parametrize("room", sorted({*PAGES, *by_room()}))
def test_every_test_that_is_named_is_there(room: str) -> None:
    paths = PAGES.get(room, ()) or files_of(room)
    no_faults(named_but_gone, paths)


def anchors(page: Path) -> set[str]:
    """Give what a link to a heading of a page may end in."""
    heads = re.findall(r"^#+ (.+)$", house.text_of(page), re.MULTILINE)
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


def commands_that_are_none(page: Path) -> Iterator[str]:
    for said, line in found_in(page, COMMAND):
        name, rest = said.groups()
        if name not in main.commands:
            yield f"{shown(page)}:{line} {name} is not a command"
            continue
        known = {*options(main.commands[name]), "--help"}
        for option in sorted(set(re.findall(r"(?<!\S)--[a-z][a-z-]+", rest)) - known):
            yield f"{shown(page)}:{line} {name} has no {option}: {name}{rest}"


@pytest.mark.parametrize("room", PAGES)
def test_every_command_line_on_a_page_names_a_command_and_its_options(room: str) -> None:
    no_faults(commands_that_are_none, PAGES[room])


def test_what_is_wrong_on_a_page_is_seen_with_its_line(monkeypatch: pytest.MonkeyPatch) -> None:
    page = ROOT / "docs" / "wrong.md"
    text = (
        "# A\n[b](gone.md)\n[c](#gone) [a](#a)\n    rubbing2pattern glaze\n"
        "    rubbing2pattern trace a.jpg --hue 3 --dpi 150\n" + "tests" + "/gone.py\n"
    )
    monkeypatch.setattr(house, "text_of", lambda path: text)
    assert lines_of(commands_that_are_none(page)) == [4, 5]
    assert lines_of(named_but_gone(page)) == [6]
    monkeypatch.setattr(Path, "exists", lambda path: path == page)
    assert lines_of(links_to_nothing(page)) == [2, 3]


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
    listed = {int(row) for row in re.findall(r"^\| (\d+) \|", page, re.MULTILINE)}
    family = {kind.exit_code for kind in errors.RubbingError.__subclasses__()}
    fixed = {errors.EXIT_DONE, errors.EXIT_DEFECT, errors.EXIT_FINDINGS, errors.EXIT_INTERRUPTED}
    assert listed == family | fixed | {errors.EXIT_SOME_FAILED}


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
