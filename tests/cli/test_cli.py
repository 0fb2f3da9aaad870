"""The command line: exit codes, messages of one or two lines, nothing touched on a refusal."""

from __future__ import annotations

import io
import json
import os
import signal
import struct
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

import rubbing2pattern
from rubbing2pattern import errors
from rubbing2pattern.cli.errors import report_fault
from rubbing2pattern.documents.document import ALWAYS
from rubbing2pattern.documents.registry import DOCUMENTS
from tests.readings import read_once
from tests.running import (
    ROOT,
    Run,
    ended,
    is_progress,
    listing,
    python,
    refused,
    run,
    run_here,
    settings,
    started,
)
from tests.workflows.collecting import DPI, picture


def grey_jpeg() -> bytes:
    buffer = io.BytesIO()
    Image.new("L", (400, 300), 235).save(buffer, "JPEG")
    return buffer.getvalue()


def huge_png() -> bytes:
    """Make a PNG whose header promises 10,000 megapixels and whose data holds none."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    head = struct.pack(">IIBBBBB", 100_000, 100_000, 8, 0, 0, 0, 0)
    data = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + data


BAD_PICTURES: dict[str, Callable[[], bytes]] = {
    "empty.jpg": lambda: b"",
    "text.jpg": lambda: b"Dear vicar, the panel n4 3b is cracked.\n",
    "cut-off.jpg": lambda: grey_jpeg()[:600],
    "header-only.png": lambda: huge_png()[:20],
    "huge.png": huge_png,
    "noise.tif": lambda: b"II*\0" + bytes(range(256)),
}


@pytest.mark.parametrize("name", BAD_PICTURES)
def test_a_picture_that_cannot_be_read(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(BAD_PICTURES[name]())
    before = listing(tmp_path)
    result = run("trace", tmp_path / name, "--dpi", "200", "-o", tmp_path / "out")
    refused(result, errors.InputUnreadable.exit_code, name)
    assert listing(tmp_path) == before


def test_a_picture_of_one_pixel(tmp_path: Path) -> None:
    Image.new("L", (1, 1), 255).save(tmp_path / "one.png")
    result = run_here("trace", tmp_path / "one.png", "--dpi", "200", "-o", tmp_path / "out")
    refused(result, errors.InputUnreadable.exit_code, "one.png", "1 x 1")


def test_a_missing_picture_and_a_folder_in_its_place(tmp_path: Path) -> None:
    for image in (tmp_path / "missing.jpg", tmp_path):
        result = run_here("trace", image, "--dpi", "200", "-o", tmp_path / "out")
        refused(result, errors.InputUnreadable.exit_code, str(image))
    assert listing(tmp_path) == {}


def test_the_limit_of_size_is_an_option(tmp_path: Path) -> None:
    Image.new("L", (1200, 1000), 255).save(tmp_path / "a.png")
    result = run_here(
        "trace", tmp_path / "a.png", "--dpi", "200", "-o", tmp_path / "o", "--max-megapixels", "1"
    )
    refused(result, errors.InputUnreadable.exit_code, "1200 x 1000", "limit", "--max-megapixels")


def test_blank_paper_holds_no_lead(tmp_path: Path) -> None:
    Image.new("L", (1600, 1200), 235).save(tmp_path / "blank.png")
    result = run_here("trace", tmp_path / "blank.png", "--dpi", "100", "-o", tmp_path / "out")
    refused(result, errors.NoLeadFound.exit_code)
    assert [p.name for p in tmp_path.iterdir()] == ["blank.png"]


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["--dpi", "200", "--sheet", "A4"],
        ["--dpi", "zero"],
        ["--dpi", "0"],
        ["--dpi", "-200"],
        ["--dpi", "nan"],
        ["--ruler", "1,2 3,4"],
        ["--ruler", "1,2 1,2 200mm"],
        ["--ruler", "1,2 300,4 0mm"],
        ["--ruler", "a,b c,d 200mm"],
        ["--sheet", "A4711"],
        ["--sheet", "614"],
        ["--sheet", "0x774mm"],
        ["--dpi", "200", "--heart", "thick"],
        ["--dpi", "200", "--heart", "99mm"],
        ["--dpi", "200", "--clearance=-1mm"],
        ["--dpi", "200", "--stock", "4mm,,wide"],
        ["--dpi", "200", "--units", "ells"],
        ["--dpi", "200", "--seen-from", "above"],
        ["--dpi", "200", "--panel", " "],
        ["--dpi", "200", "--max-megapixels", "many"],
        ["--dpi", "200", "--set", "lead.nothing=1"],
        ["--dpi", "200", "--set", "lead.margin_mm"],
        ["--dpi", "200", "--unheard-of"],
        ["--dpi", "200", "second.png"],
    ],
    ids=" ".join,
)
def test_wrong_use(tmp_path: Path, arguments: list[str]) -> None:
    Image.new("L", (600, 500), 235).save(tmp_path / "a.png")
    before = listing(tmp_path)
    result = run_here("trace", tmp_path / "a.png", *arguments, "-o", tmp_path / "out")
    refused(result, errors.UsageFault.exit_code)
    assert listing(tmp_path) == before


def test_help_instead_of_a_setting_lists_what_the_command_takes() -> None:
    """Before anything is read: no picture, reference or folder is needed."""
    every = run_here("trace", "--set", "help")
    assert (every.returncode, every.stderr) == (0, "")
    assert "  tidy.gap_mm=9  [3 to 40]" in every.stdout
    assert "  paper.overlap_mm=12  [8 to 60]" in every.stdout
    printed = run_here("redraw", "--set", "help")
    assert (printed.returncode, printed.stderr) == (0, "")
    assert "  paper.overlap_mm=12  [8 to 60]" in printed.stdout
    assert "tidy.gap_mm" not in printed.stdout
    one = run_here("batch", "--set", "lead.help")
    assert {line.split(".")[0].strip() for line in one.stdout.splitlines() if "=" in line} == {
        "lead"
    }
    refused(run_here("compare", "--set", "tidy.help"), 2, "'tidy'", "compare, documents")


CSV_FAULTS = {
    "empty": "",
    "words": "pixel_x,pixel_y,x_mm,y_mm\na,b,c,d\n",
    "three marks": "pixel_x,pixel_y,x_mm,y_mm\n1,1,0,0\n500,1,100,0\n500,400,100,80\n",
    "other columns": "left,top,x,y\n1,1,0,0\n",
}


@pytest.mark.parametrize("kind", ["marks", "targets"])
@pytest.mark.parametrize("fault", [*CSV_FAULTS, "missing", "folder", "binary"])
def test_a_bad_file_of_marks_or_targets(tmp_path: Path, kind: str, fault: str) -> None:
    Image.new("L", (600, 500), 235).save(tmp_path / "a.png")
    file = tmp_path / "places.csv"
    if fault in CSV_FAULTS:
        file.write_text(CSV_FAULTS[fault])
    elif fault == "folder":
        file.mkdir()
    elif fault == "binary":
        file.write_bytes(grey_jpeg())
    result = run_here("trace", tmp_path / "a.png", f"--{kind}", file, "-o", tmp_path / "out")
    assert result.returncode in (2, 3, 4), result.stderr
    refused(result, result.returncode, "places.csv")
    assert not (tmp_path / "out").exists()


def test_marks_on_one_line_give_no_scale(tmp_path: Path) -> None:
    Image.new("L", (600, 500), 235).save(tmp_path / "a.png")
    rows = "".join(f"{100 * i},{80 * i},{20 * i},{-16 * i}\n" for i in range(1, 5))
    (tmp_path / "m.csv").write_text("pixel_x,pixel_y,x_mm,y_mm\n" + rows)
    result = run_here(
        "trace", tmp_path / "a.png", "--marks", tmp_path / "m.csv", "-o", tmp_path / "o"
    )
    refused(result, errors.ScaleNotFound.exit_code)


def test_a_sheet_that_is_not_to_be_seen_gives_no_scale(tmp_path: Path) -> None:
    Image.new("L", (1200, 900), 128).save(tmp_path / "a.png")
    result = run_here("trace", tmp_path / "a.png", "--sheet", "A3", "-o", tmp_path / "out")
    refused(result, errors.ScaleNotFound.exit_code)


def test_an_existing_folder_is_refused_before_anything_is_read(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "panel.json").write_text("{}")
    result = run("trace", tmp_path / "missing.jpg", "--dpi", "200", "-o", tmp_path / "out")
    refused(result, errors.OutputNotWritten.exit_code, "--overwrite")
    assert listing(tmp_path) == {"out": b"", "out/panel.json": b"{}"}


def test_a_folder_of_someone_else_is_refused_even_with_overwrite(tmp_path: Path) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "a.txt").write_text("dear")
    arguments = ["trace", tmp_path / "a.jpg", "--dpi", "200", "-o", tmp_path / "letters"]
    result = run_here(*arguments, "--overwrite")
    refused(result, errors.OutputNotWritten.exit_code, "panel.json")
    assert listing(tmp_path) == {"letters": b"", "letters/a.txt": b"dear"}


def test_no_folder_given(tmp_path: Path) -> None:
    refused(run("trace", "a.jpg", "--dpi", "200"), 2, "--output")


@pytest.mark.parametrize("arguments", [["unheard-of"], ["--unheard-of"]])
def test_an_unknown_command_or_option(arguments: list[str]) -> None:
    refused(run(*arguments), 2, "--help")


def test_nothing_asked_for_shows_the_help() -> None:
    result = run()
    assert result.returncode == 2
    assert "trace" in result.stderr
    assert result.stdout == ""


def test_help_and_version_say_no_more_than_asked() -> None:
    for arguments in (["--help"], ["trace", "--help"], ["--version"]):
        result = run(*arguments)
        assert result.returncode == 0
        assert result.stderr == ""
    assert rubbing2pattern.__version__ in result.stdout


def test_help_loads_no_library_of_the_stages() -> None:
    code = (
        "import sys, rubbing2pattern, rubbing2pattern.cli\n"
        "heavy = {'cv2', 'scipy', 'skimage', 'shapely', 'ezdxf', 'reportlab', 'PIL', 'rich'}\n"
        "sys.exit(', '.join(sorted(heavy & set(sys.modules))) or 0)"
    )
    result = python("-c", code)
    assert result.returncode == 0, result.stderr


@pytest.mark.parametrize(
    ("fault", "code"),
    [
        (errors.UsageFault("x"), 2),
        (errors.InputUnreadable("x"), 3),
        (errors.ScaleNotFound("x"), 4),
        (errors.NoLeadFound("x"), 5),
        (errors.OutputNotWritten("x"), 6),
        (KeyboardInterrupt(), 130),
        (MemoryError(), 1),
        (ZeroDivisionError("x\ny"), 1),
    ],
    ids=lambda value: type(value).__name__,
)
def test_each_kind_of_error_has_its_code(
    fault: BaseException, code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    assert report_fault(fault) == code
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.startswith("rubbing2pattern: ")
    assert len(shown.err.splitlines()) <= 2


def test_the_traceback_of_a_defect_is_shown_only_when_asked_for(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken() -> None:
        raise ZeroDivisionError("division")

    for wanted in (False, True):
        if wanted:
            monkeypatch.setenv("RUBBING2PATTERN_DEBUG", "1")
        try:
            broken()
        except ZeroDivisionError as fault:
            assert report_fault(fault) == 1
        shown = capsys.readouterr().err
        assert ("Traceback" in shown) is wanted
        assert "please report" in shown
        assert "broken" in shown


def test_targets_are_written_and_not_overwritten(tmp_path: Path) -> None:
    file = tmp_path / "the targets.pdf"
    result = run("targets", "-o", file)
    assert result.returncode == 0, result.stderr
    assert str(file) in result.stdout
    content = file.read_bytes()
    assert content.startswith(b"%PDF-")
    refused(run_here("targets", "-o", file), 6, "--overwrite")
    assert run_here("targets", "-o", file, "--overwrite").returncode == 0
    assert file.read_bytes() == content


def test_demo_shows_where_the_pattern_lies(tmp_path: Path) -> None:
    folder = tmp_path / "Wendlemere, Fenster für n4"
    result = run("demo", "-o", folder)
    first = listing(folder)
    assert result.returncode == 0, result.stderr
    assert f"The pattern lies in {folder}" in result.stdout
    names = {p.name for p in folder.iterdir()}
    always = {document.name for document in DOCUMENTS if document.when is ALWAYS}
    assert names == always | {"pattern-A4.pdf", "overlay.png", "rubbing.png"}
    assert "Traceback" not in result.stderr
    said = [line for line in result.stderr.splitlines() if is_progress(line)]
    assert [line.split()[1] for line in said] == [f"{k}/10" for k in range(1, 11)]
    again = traced(folder, "mm")
    assert listing(folder) == first, "the same input must give the same bytes"
    summed_up(again, folder, "mm")


def test_demo_does_what_its_page_says_in_inches_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rubbing2pattern.workflows.pipeline.trace_rubbing", read_once)
    traced(tmp_path / "n4 3b", "in", run_here)
    first = listing(tmp_path / "n4 3b")
    given = ["--units", "in", "--overwrite", "--json", "--quiet", "--strict"]
    result = run_here("demo", "-o", tmp_path / "n4 3b", *given)
    assert listing(tmp_path / "n4 3b") == first
    summed_up(result, tmp_path / "n4 3b", "in")


def traced(folder: Path, units: str, by: Callable[..., Run] = run) -> Run:
    """Read the rubbing of the demo with the command that the demo's page shows."""
    image = ROOT / "rubbing2pattern" / "demo" / "rubbing.jpg"
    given = ["--sheet", "381x513mm", "--panel", "n4 3b", "--seen-from", "inside", "--units", units]
    flags = ["--overwrite", "--json", "--quiet", "--strict"]
    return by("trace", image, *given, "-o", folder, *flags)


def summed_up(result: Run, folder: Path, units: str) -> None:
    """Check that a strict and quiet run gave the sums of what is in the folder as JSON."""
    assert result.stderr == ""
    summary = json.loads(result.stdout)
    assert result.returncode == (8 if summary["findings"] else 0)
    record = json.loads((folder / "panel.json").read_text(encoding="utf-8"))
    assert summary["pieces"] == len(record["pieces"]) > 0
    assert summary["files"] == sorted(p.name for p in folder.iterdir())
    assert len(summary["findings"]) == len(record["findings"])
    lengths_mm = sum(row["length_mm"] for row in summary["widths"])
    assert lengths_mm > 2 * (summary["width_mm"] + summary["height_mm"])
    stocks = {row["stock"] for row in summary["widths"]}
    assert stocks and all(stock.endswith(f" {units}") for stock in stocks)


@pytest.mark.skipif(os.name != "posix", reason="streams of this kind are POSIX")
@pytest.mark.parametrize(("kind", "code"), [("closed", 0), ("left", 0), ("full", 6)])
def test_results_are_safe_whatever_happens_to_stdout(tmp_path: Path, kind: str, code: int) -> None:
    image = picture(tmp_path / "a.png", 1, 1)
    given = ["trace", image, "--dpi", DPI, "--quiet", "-o", tmp_path / "o"]
    command = [sys.executable, "-m", "rubbing2pattern", *map(str, given)]
    end = {"closed": '"$@" >&-', "left": '{ "$@"; echo $? >&2; } | true', "full": '"$@" >/dev/full'}
    if kind == "full" and not Path("/dev/full").exists():
        pytest.skip("this system has no device that is always full")
    result = subprocess.run(
        ["sh", "-c", end[kind], "sh", *command],
        **settings(),
        stderr=subprocess.PIPE,
        check=False,
    )
    if kind == "left":
        assert result.stderr == "0\n"
    else:
        assert result.returncode == code, result.stderr
        assert ("the results lie in" in result.stderr) is (kind == "full")
    assert "Traceback" not in result.stderr
    assert (tmp_path / "o" / "panel.json").exists()


WAYS_TO_END = [signal.SIGINT, signal.SIGTERM] if os.name == "posix" else []


@pytest.mark.parametrize("number", WAYS_TO_END)
def test_an_interrupted_run_leaves_nothing(tmp_path: Path, number: int) -> None:
    with started("demo", "-o", tmp_path / "out") as process:
        assert process.stderr is not None
        first = process.stderr.readline()
        process.send_signal(number)
        out, err = ended(process)
    assert is_progress(first), first + err
    assert process.returncode == 130, err
    assert out == ""
    assert "Traceback" not in err
    assert err.splitlines()[-1] == "rubbing2pattern: interrupted"
    assert list(tmp_path.iterdir()) == []


_INTERRUPTED_IN_EXEC = """
import os
from rubbing2pattern.cli import entry, main

@main.command()
def wait():
    exec(f"import os, signal, threading; os.kill(os.getpid(), {os.environ['NUMBER']}); "
         "threading.Event().wait()")

entry()
"""


@pytest.mark.parametrize("number", WAYS_TO_END)
def test_an_interruption_in_the_middle_of_an_import_ends_like_any_other(
    tmp_path: Path, number: int
) -> None:
    """A dataclass is made by `exec`; Python ends otherwise after a KeyboardInterrupt in there."""
    (tmp_path / "waiting.py").write_text(_INTERRUPTED_IN_EXEC, encoding="utf-8")
    more = {"PYTHONPATH": f"{ROOT}{os.pathsep}{tmp_path}", "NUMBER": str(int(number))}
    result = python("-m", "waiting", "wait", **more)
    assert result.returncode == 130, result.stderr
    assert result.stderr.splitlines()[-1] == "rubbing2pattern: interrupted"


@pytest.mark.skipif(os.name != "posix", reason="signals of this kind are POSIX")
def test_a_signal_that_the_caller_ignores_stays_ignored() -> None:
    """So `nohup` and a shell's `&` keep their meaning."""
    code = (
        "import atexit, signal; signal.signal(signal.SIGINT, signal.SIG_IGN); "
        "atexit.register(lambda: print(signal.getsignal(signal.SIGINT) is signal.SIG_IGN)); "
        "from rubbing2pattern.cli import entry; entry()"
    )
    result = python("-c", code, "help")
    assert (result.returncode, result.stdout.splitlines()[-1]) == (0, "True")


@pytest.mark.skipif(os.name != "posix", reason="signals of this kind are POSIX")
def test_a_child_of_the_tests_begins_as_at_a_terminal() -> None:
    """Even when the tests themselves were started in the background."""
    asked = "import signal; print(signal.getsignal(2) is signal.default_int_handler)"
    code = (
        f"import signal, sys; sys.path.insert(0, {str(ROOT)!r}); "
        "signal.signal(2, signal.SIG_IGN); signal.signal(15, signal.SIG_IGN); "
        f"from tests.running import python; print(python('-c', {asked!r}).stdout)"
    )
    assert python("-c", code).stdout.split() == ["True"]
