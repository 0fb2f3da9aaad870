"""The files of the page: typed, short, all words in one place, all colours readable."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from importlib.resources import files

import pytest

from rubbing2pattern.documents.drawing.condition import HATCHES, LETTERS
from rubbing2pattern.reviewing.app import page_files
from tests.running import ROOT, settings

PAGE = ROOT / "rubbing2pattern" / "reviewing" / "page"
FILES = page_files()
TEXTS = {name: content.decode() for name, content in FILES.items()}
SCRIPTS = {name: text for name, text in TEXTS.items() if name.endswith(".js")}
STYLES = "\n".join(text for name, text in TEXTS.items() if name.endswith(".css"))
LONGEST_FILE = 450
LONGEST_FUNCTION = 60


def test_scripts_are_typed() -> None:
    """TypeScript's checker at its strictest finds nothing; it writes nothing."""
    tsc = os.environ.get("TSC") or shutil.which("tsc")
    if not tsc:
        pytest.skip("no tsc on this machine; name one, TSC=/path")
    done = subprocess.run(
        [tsc, "-p", str(PAGE / "jsconfig.json")], capture_output=True, **settings()
    )
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize("name", TEXTS)
def test_files_are_short(name: str) -> None:
    assert len(TEXTS[name].splitlines()) <= LONGEST_FILE


@pytest.mark.parametrize("name", SCRIPTS)
def test_functions_are_short(name: str) -> None:
    """A function begins at a line that ends in ) { and ends at a brace as deep as that line."""
    lines = SCRIPTS[name].splitlines()
    for k, line in enumerate(lines):
        if re.search(r"\) (=> )?\{$", line):
            deep = len(line) - len(line.lstrip())
            end = next(j for j in range(k + 1, len(lines)) if lines[j].startswith(" " * deep + "}"))
            assert end - k < LONGEST_FUNCTION, f"{name}:{k + 1}"


@pytest.mark.parametrize("name", SCRIPTS)
def test_no_script_makes_markup_or_runs_text(name: str) -> None:
    for word in (
        "innerHTML",
        "outerHTML",
        "insertAdjacent",
        "document.write",
        "eval(",
        "Function(",
    ):
        assert word not in SCRIPTS[name]
    assert not re.search(r"https?://(?!www\.w3\.org/)", SCRIPTS[name])


def test_all_words_are_in_the_catalogue() -> None:
    """Texts with a space that begin with a capital are for persons; only the catalogue has them."""
    words = re.compile(r'"([A-Z][a-z]+ [^"\\]*)"|>([A-Z][a-z]{3,}[^<]*)<')
    for name, text in {**SCRIPTS, "index.html": TEXTS["index.html"]}.items():
        bare = re.sub(r"//.*|/\*.*?\*/|<title>.*</title>", "", text)
        assert name == "words.js" or not words.findall(bare), name


def test_every_file_is_used() -> None:
    named = set(re.findall(r'"(?:\./)?([\w-]+\.(?:js|css|svg))"', "".join(TEXTS.values())))
    assert {*TEXTS} - {"index.html"} == named & {*TEXTS} | {"main.js"}
    assert {item.name for item in files("rubbing2pattern.reviewing").joinpath("page").iterdir()} - {
        *TEXTS
    } == {"jsconfig.json"}


def test_the_page_hatches_as_the_document_does() -> None:
    told = TEXTS["hatch.js"]
    for state, (angles, _) in HATCHES.items():
        found = re.search(rf'(?:"{state}"|\b{state}): \[\[([^\]]*)\]', told)
        assert found and [float(a) for a in found[1].split(",")] == list(angles)
    for action, letter in LETTERS.items():
        assert re.search(rf'(?:"{action}"|\b{action}): "{letter}"', told)


def luminance(colour: str) -> float:
    """Return the relative luminance (WCAG 2.2) of a colour like #14523f."""
    full = colour if len(colour) == 7 else "#" + "".join(c * 2 for c in colour[1:])
    parts = [int(full[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


NAMED = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{3,6});", TEXTS["bench.css"]))
PAIRS = (
    ("ink", "bench"), ("ink", "paper"), ("faint", "paper"), ("faint", "bench"), ("wrong", "paper"),
    ("check", "paper"), ("note", "paper"), ("glass", "paper"), ("glass", "glass-light"),
)  # fmt: skip


@pytest.mark.parametrize(("text", "ground"), PAIRS)
def test_letters_stand_out(text: str, ground: str) -> None:
    """WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text."""
    assert contrast(NAMED[text], NAMED[ground]) >= 4.5


def test_edges_and_states_stand_out() -> None:
    """WCAG 2.2, success criterion 1.4.11: 3 to 1 for what is needed to know a control."""
    assert contrast(NAMED["line"], NAMED["paper"]) >= 3.0
    assert contrast("#675f55", "#e6e1d8") >= 4.5 and "#675f55" in STYLES
    assert contrast("#fdfbf6", "#3a332b") >= 4.5
    assert contrast(NAMED["ink"], "#c6bdaf") >= 4.5
    for line in ("#cf3f06", "#00567d", "#14523f"):
        assert line in STYLES and contrast(line, "#ffffff") >= 3.0


def test_contrast_is_that_of_the_standard() -> None:
    """Values from memory of the standard's definition: black on white is 21 to 1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777", "#fff") == pytest.approx(4.48, abs=0.01)
