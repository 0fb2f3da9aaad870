"""Every page of the guide is a topic, in the index, in the wheel; messages name only topics."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from rubbing2pattern.cli import main
from rubbing2pattern.cli.help_pages import _laid_out
from rubbing2pattern.errors import ProgramDamaged
from rubbing2pattern.guide import pages
from rubbing2pattern.guide.pages import cautions_page, index_page, page_text
from rubbing2pattern.guide.topics import GUIDE, INDEX, TOPICS, see, topic_of
from rubbing2pattern.trade.cautions import CAUTIONS
from tests.running import ROOT, settings, started

DOCS = ROOT / "docs"
PACKAGE = ROOT / "rubbing2pattern"
PAGES = sorted(page.stem for page in DOCS.glob("*.md"))
NAMED = re.compile(r"rubbing2pattern help ([a-z-]+)")


def asked(*words: str) -> Result:
    return CliRunner().invoke(main, ["help", *words])


def test_every_page_is_a_topic_and_every_topic_a_page() -> None:
    assert sorted(TOPICS) == [name for name in PAGES if name != INDEX]
    assert len(TOPICS) == sum(len(group.topics) for group in GUIDE)


def test_the_index_names_every_page_and_is_up_to_date() -> None:
    text = (DOCS / "index.md").read_text(encoding="utf-8")
    assert text == index_page(), "run: make docs"
    for name in TOPICS:
        assert f"]({name}.md)" in text


def test_the_page_of_cautions_is_up_to_date_and_has_all() -> None:
    text = (DOCS / "cautions.md").read_text(encoding="utf-8")
    assert text == cautions_page(), "run: make docs"
    assert all(caution in text for caution in CAUTIONS)


def test_help_shows_every_page_as_it_is() -> None:
    for name in TOPICS:
        result = asked(name)
        assert result.exit_code == 0, f"help {name}"
        page = (DOCS / f"{name}.md").read_text(encoding="utf-8")
        assert result.stdout == page, f"help {name} shows another text than docs/{name}.md"


def test_every_page_begins_with_its_title() -> None:
    for name in TOPICS:
        lines = page_text(name).splitlines()
        assert re.fullmatch(r"# \S.*", lines[0]), f"docs/{name}.md:1"
        assert not lines[1], f"docs/{name}.md:2"


@pytest.mark.parametrize("words", [(), ("index",)])
def test_help_lists_the_topics_one_line_each(words: tuple[str, ...]) -> None:
    result = asked(*words)
    assert result.exit_code == 0
    for topic in TOPICS.values():
        (line,) = [x for x in result.stdout.splitlines() if x.split()[:1] == [topic.name]]
        assert line.endswith(topic.use) and len(line) <= 80


def test_a_page_may_be_named_by_its_file() -> None:
    assert asked("docs/printing.md").stdout == asked("printing").stdout


def test_the_name_of_a_command_lists_its_options() -> None:
    result = asked("trace")
    assert result.exit_code == 0
    assert result.stdout.startswith("Usage: main trace ") and "--sheet" in result.stdout


def test_an_unknown_topic_is_refused_with_the_nearest() -> None:
    result = asked("printin")
    assert result.exit_code == 2
    assert "no page 'printin'; did you mean printing?" in result.stderr
    assert "'rubbing2pattern help' lists the topics" in result.stderr


def test_on_a_terminal_links_become_words_to_ask_for() -> None:
    said = _laid_out("See [the map](printing.md#a) and [a schema](panel.schema.json).")
    plain = re.sub(r"\x1b\[[0-9;]*m", "", said)
    assert "the map (help printing)" in plain and "panel.schema.json" in plain


def test_who_stops_reading_gets_no_message() -> None:
    with started("help", "options") as run:
        assert run.stdout is not None and run.stderr is not None
        assert run.stdout.readline() == "# Options\n"
        run.stdout.close()
        assert run.stderr.read() == ""
    assert run.returncode == 0


def test_a_missing_page_is_reported(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(pages, "_INSTALLED", tmp_path)
    monkeypatch.setattr(pages, "_SOURCE", tmp_path)
    with pytest.raises(ProgramDamaged, match=r"printing\.md is missing in .* install the program"):
        page_text("printing")


def test_every_command_names_the_page_about_it() -> None:
    assert topic_of("help") is None
    for name in sorted({*main.commands} - {"help"}):
        topic = topic_of(name)
        assert topic is not None, name
        result = CliRunner().invoke(main, [name, "--help"])
        assert f"More: {see(topic.name)}" in result.stdout, name


def test_every_page_named_anywhere_is_a_topic() -> None:
    """In messages, in the help of commands, and in the pages themselves."""
    said = [asked().stdout]
    for name in main.commands:
        said.append(" ".join(CliRunner().invoke(main, [name, "--help"]).stdout.split()))
    said += [page.read_text(encoding="utf-8") for page in DOCS.glob("*.md")]
    said.append((ROOT / "README.md").read_text(encoding="utf-8"))
    named = set(NAMED.findall("\n".join(said)))
    assert named and named <= {*TOPICS, *main.commands}


def test_messages_name_pages_by_their_topic_and_not_by_a_file_of_the_source() -> None:
    """`see` refuses what is no topic; a path into docs/ would lead nowhere from a wheel."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "see":
                (given,) = node.args
                if isinstance(given, ast.Constant):
                    found.append(given.value)
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                outside = path.parent.name in ("cli", "options") or "\n" not in node.value
                where = f"{path.name}:{node.lineno}: {node.value}"
                assert not (outside and re.search(r"docs/[a-z-]+\.md", node.value)), where
    assert found and set(found) <= set(TOPICS)
    with pytest.raises(KeyError):
        see("no such page")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the wheel of this tree as `make wheel` does, but without fetching the builder."""
    out = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)],
        **settings(),
        check=True,
        capture_output=True,
    )
    (built,) = out.glob("*.whl")
    return built


def test_the_wheel_holds_every_page_and_nothing_else_of_docs(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as held:
        inside = "rubbing2pattern/guide/docs/"
        names = {n.removeprefix(inside) for n in held.namelist() if n.startswith(inside)}
        assert names == {p.name for p in DOCS.iterdir() if p.suffix in (".md", ".json")}
        for name in names:
            assert held.read(inside + name) == (DOCS / name).read_bytes()
        tops = {name.split("/")[0] for name in held.namelist()}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"rubbing2pattern"}


def test_the_pages_about_installing_name_the_wheel_as_it_is_built(wheel: Path) -> None:
    for page in (ROOT / "README.md", DOCS / "installing.md"):
        named = set(
            re.findall(r"[\w.]+-[\d.]+-py3-none-any\.whl", page.read_text(encoding="utf-8"))
        )
        assert named == {wheel.name}, page.name


def test_the_pages_show_when_the_program_runs_from_the_wheel(wheel: Path, tmp_path: Path) -> None:
    place = tmp_path / "installed"
    with zipfile.ZipFile(wheel) as held:
        held.extractall(place)
    code = (
        "import sys; sys.path.insert(0, sys.argv.pop(1)); import rubbing2pattern as r; "
        "print(r.__file__); from rubbing2pattern.cli import entry; entry()"
    )
    done = subprocess.run(
        [sys.executable, "-I", "-c", code, str(place), "help", "printing"],
        **settings(tmp_path),
        check=True,
        capture_output=True,
    )
    first, _, page = done.stdout.partition("\n")
    assert Path(first).is_relative_to(place)
    assert page == (DOCS / "printing.md").read_text(encoding="utf-8")
