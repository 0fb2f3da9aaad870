"""Names and words of the command line: options, panels, ids, paths; and where the summary goes."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import partial
from pathlib import Path
from random import Random

from benchmarks.hostile.kinds.references import record_of
from benchmarks.hostile.material import DPI, Material
from benchmarks.hostile.mutate import UNFIT, nasty_text, shown
from benchmarks.hostile.trial import Kind, Proof, Results, Stdout, Trial, Wanted, nothing_more

_TRACE = ("trace", "scan.png", "--dpi", DPI, "-o", "out", "--paper", "none")
_REDRAW = ("redraw", "results")

OPTIONS: dict[tuple[str, ...], dict[str, str]] = {
    _TRACE: {
        "--panel": "n4 3b",
        "--seen-from": "inside",
        "--heart": "1.6mm",
        "--clearance": "0.4mm",
        "--stock": "4mm,5mm,1/4in",
        "--profile": "flat",
        "--caliper": "C2=6.1mm",
        "--max-megapixels": "400",
        "--units": "in",
        "--set": "lead.paper_grid_mm=0.8",
    },
    _REDRAW: {
        "--paper": "A4,600x900mm",
        "--print-scale": "1.003x0.998",
        "--lines": "heart,cut",
        "--ids": "came,joint",
        "--units": "in",
        "--set": "documents.fraction=32",
    },
    ("lists", "results"): {
        "--glass-sheet": "600x900mm",
        "--pieces": "results/pieces.xlsx",
        "--matches": "matches",
        "--set": "glass.waste_share=0.2",
    },
    ("compare", "results", "again"): {
        "--select": "n4 3b",
        "--set": "compare.moved_mm=1",
        "--units": "in",
        "-o": "out",
    },
    ("archive", "results", "-o", "out"): {
        "--image": "n4 3b=scan.png",
        "--about": "about.toml",
    },
    ("batch", "list.csv", "-o", "out", "--paper", "none"): {
        "--jobs": "1",
        "--dpi": DPI,
        "--seen-from": "inside",
    },
    ("targets",): {"-o": "out"},
    (): {"help": "batch", "": "trace", "--": "trace"},
}
"""Options by command, each with a value that is right."""
_MATERIAL = (
    "scan.png",
    "results",
    "again",
    "matches",
    "about.toml",
    "list.csv",
)


def _panel_named(results: Results, text: str) -> str:
    name = record_of(results)["panel"]["name"]
    if UNFIT.search(text):
        return "a name that no record may hold was accepted"
    return "" if name == text else f"the panel is called {name!r} instead of {text!r}"


def _option(command: tuple[str, ...], option: str, text: str, wanted: Wanted) -> Trial:
    given = (f"{option}={text}",) if option.startswith("--") and option != "--" else (option, text)
    jobs = ("--jobs", "1") if command[:1] == ("batch",) and option != "--jobs" else ()
    proof: Proof = partial(_panel_named, text=text) if option == "--panel" else nothing_more
    writes = ["out"]
    if command[:1] in (("redraw",), ("lists",)):
        writes.append("results")
    if option == "-o":
        writes.append(text.split("/")[0])
    return Trial(
        (*command, *jobs, *given) if command else tuple(word for word in (option, text) if word),
        f"{' '.join(command[:1])} {option} {shown(text)}",
        _MATERIAL,
        writes=tuple(writes),
        wanted=wanted,
        proof=proof,
    )


def _safe(text: str) -> bool:
    """Return whether a text may be given as the name of a file to be written.

    Not one that names something of this machine: a run that fails must do no harm.
    """
    return not text.startswith("/") and text.count("..") < 2


def _spoilt(material: Material, chance: Random) -> Trial:
    command = chance.choice(list(OPTIONS))
    option = chance.choice(list(OPTIONS[command]))
    right = OPTIONS[command][option]
    text = nasty_text(chance, right).replace("\0", "")[:100_000]
    if option == "--set":
        name, _, value = right.partition("=")
        text = chance.choice((f"{name}={nasty_text(chance, value)}", f"{text}={value}", text))
        text = text.replace("\0", "")
    if option == "--jobs" and text.strip() not in ("1", "0", "-1"):
        text = f"x{text}"  # More processes are not tried: they outlive the limits of a trial.
    if option == "-o" and not _safe(text):
        text = "/dev/null/out"
    return _option(command, option, text, Wanted.EITHER)


def _whole_option(material: Material) -> Trial:
    return _option(_TRACE, "--panel", "n4 3b", Wanted.ACCEPTED)


INPUTS: dict[str, tuple[str, ...]] = {
    "trace": ("trace", "@", "--dpi", DPI, "-o", "out"),
    "marks": ("trace", "scan.png", "--marks", "@", "-o", "out"),
    "targets": ("trace", "scan.png", "--targets", "@", "-o", "out"),
    "calipers": ("trace", "scan.png", "--dpi", DPI, "--caliper", "@", "-o", "out"),
    "correct": ("correct", "@", "corrections.toml"),
    "corrections": ("correct", "results", "@"),
    "redraw": ("redraw", "@"),
    "lists": ("lists", "@"),
    "pieces": ("lists", "results", "--pieces", "@"),
    "matches": ("lists", "results", "--matches", "@"),
    "photo": ("match", "@", "--dpi", DPI, "--results", "results", "-o", "out"),
    "results": ("match", "scan.png", "--dpi", DPI, "--results", "@", "-o", "out"),
    "before": ("compare", "@", "results"),
    "after": ("compare", "results", "@"),
    "archive": ("archive", "@", "-o", "out"),
    "about": ("archive", "results", "--about", "@", "-o", "out"),
    "image": ("archive", "results", "--image", "@", "-o", "out"),
    "verify": ("verify", "@"),
    "batch": ("batch", "@", "-o", "out", "--jobs", "1"),
}
"""Command lines in which @ stands for an input."""
_PLACES: dict[str, Callable[[Path], object]] = {
    "missing": lambda path: None,
    "an empty file": lambda path: path.write_bytes(b""),
    "an empty folder": lambda path: path.mkdir(),
    "a folder of others": lambda path: (path.mkdir(), (path / "x").write_text("x")),
    "a loop": lambda path: path.symlink_to(path.name),
    "a broken link": lambda path: path.symlink_to("nowhere"),
    "a line of text": lambda path: path.write_text("hello\n", encoding="utf-8"),
    "null bytes": lambda path: path.write_bytes(bytes(5000)),
    "random bytes": lambda path: path.write_bytes(Random(1).randbytes(5000)),
    "a pipe": lambda path: os.mkfifo(path),
    "endless": lambda path: path.symlink_to("/dev/zero"),
    "the null device": lambda path: path.symlink_to("/dev/null"),
    "large": lambda path: path.write_bytes(b"a,b\n" * 3_000_000),
}
"""What may lie where an input should be."""
_CALLED = (
    "input",
    "in put",
    "-input",
    "ümlaut",
    "a\nb",
    "a\x1b[2Jb",
    "a\u202eb",
    "é" * 100,
    "x.toml",
)


def _input(material: Material, chance: Random) -> Trial:
    which, what = chance.choice(list(INPUTS)), chance.choice(list(_PLACES))
    name = chance.choice(_CALLED)
    words = tuple(f"./{name}" if word == "@" else word for word in INPUTS[which])
    needs = (*_MATERIAL, "corrections.toml")
    # Where the package is asked for, an empty description says nothing, and that is allowed.
    may_be_empty = which == "about" and what in ("an empty file", "the null device")
    return Trial(
        words,
        f"{which} {shown(name)}: {what}",
        needs,
        prepare=lambda desk: _PLACES[what](desk / name) and None,
        wanted=Wanted.EITHER if may_be_empty else Wanted.REFUSED,
    )


OUTPUTS: tuple[tuple[str, ...], ...] = (
    (*_TRACE[:4], "-o", "@", "--paper", "none"),
    ("compare", "results", "again", "-o", "@"),
    ("archive", "results", "-o", "@"),
    ("match", "glass.png", "--dpi", "76.2", "--results", "results", "-o", "@"),
    ("batch", "list.csv", "-o", "@", "--jobs", "1", "--paper", "none"),
    ("targets", "-o", "@"),
)
_TAKEN: dict[str, tuple[str, Callable[[Path], object] | None]] = {
    "a file": ("notes.txt", None),
    "a folder of others": ("../beside", None),
    "this folder": (".", None),
    "the folder above": ("..", None),
    "results of another command": ("matches", None),
    "results": ("results", None),
    "inside a file": ("notes.txt/out", None),
    "inside results": ("results/out/more", None),
    "a broken link": ("away", lambda desk: (desk / "away").symlink_to("../beside/new")),
    "a link to a folder": ("away", lambda desk: (desk / "away").symlink_to("../beside")),
    "a loop": ("away", lambda desk: (desk / "away").symlink_to("away")),
    "a long name": ("n" * 300, None),
    "a long path": ("d/" * 2100 + "x", None),
    "a pipe": ("pipe", lambda desk: os.mkfifo(desk / "pipe")),
    "inside a device": ("/dev/null/out", None),
    "no name": ("", None),
}
"""Places where results are asked for; what lies there must stay. None is a device of this machine:
a run that replaced it would harm everyone."""


def _output(material: Material, chance: Random) -> Trial:
    command = chance.choice(OUTPUTS)
    what = chance.choice(list(_TAKEN))
    name, prepare = _TAKEN[what]
    overwrite = chance.random() < 0.5 and command[0] != "batch"
    words = tuple(name if word == "@" else word for word in command)
    # What is asked for by name may be written there, if nobody else's things are.
    allowed: tuple[str, ...] = ()
    if what in ("results of another command", "results", "inside results"):
        allowed = (name.split("/")[0],)
    if what == "a file" and command[0] == "targets" and overwrite:
        allowed = (name,)  # A single file is replaced, whatever it is, when that is asked for.
    if what == "a broken link":
        allowed = ("away", "../beside/new")
    if what == "a long path":
        allowed = ("d",)
    if what in ("a folder of others", "a link to a folder") and command[0] == "batch":
        allowed = ("../beside",)
    return Trial(
        (*words, *(("--overwrite",) if overwrite else ())),
        f"{command[0]} into {what}{', --overwrite' if overwrite else ''}",
        (*_MATERIAL, "glass.png"),
        prepare=None if prepare is None else lambda desk: prepare(desk) and None,
        writes=allowed,
    )


STREAMS: tuple[tuple[str, ...], ...] = (
    _TRACE,
    (*_TRACE, "--json"),
    ("--help",),
    ("trace", "--help"),
    ("help", "batch"),
    ("--version",),
    ("trace", "--set", "help"),
    ("correct", "results", "corrections.toml"),
    ("redraw", "results", "--mirrored"),
    ("lists", "results", "--matches", "matches", "--json"),
    ("compare", "results", "again"),
    ("archive", "results", "-o", "out"),
    ("archive", "results", "-o", "out", "--json"),
    ("verify", "package"),
    ("verify", "package", "--json"),
    ("batch", "list.csv", "-o", "out", "--jobs", "1"),
    ("targets", "-o", "out"),
)


def _stream(material: Material, chance: Random) -> Trial:
    stdout, words = chance.choice(list(Stdout)), chance.choice(STREAMS)
    if stdout is Stdout.FULL and not Path("/dev/full").exists():
        stdout = Stdout.CLOSED
    return Trial(
        words,
        f"stdout is {stdout}",
        (*_MATERIAL, "corrections.toml", "package"),
        writes=("out", "results"),
        wanted=Wanted.REFUSED if stdout is Stdout.FULL else Wanted.ACCEPTED,
        stdout=stdout,
    )


KINDS = (
    Kind(
        "options",
        "values of options and names of panels: other texts, numbers, signs, very long",
        _whole_option,
        _spoilt,
    ),
    Kind(
        "inputs",
        "something else where an input should be: folders, links, devices, pipes, noise",
        _whole_option,
        _input,
    ),
    Kind(
        "outputs",
        "results asked for where something lies already, or nothing can lie",
        _whole_option,
        _output,
    ),
    Kind(
        "streams",
        "a summary that goes to a full disk, a closed stream or a pipe that nobody reads",
        lambda material: Trial(
            ("verify", "package"), "nothing", ("package",), writes=(), wanted=Wanted.ACCEPTED
        ),
        _stream,
    ),
)
