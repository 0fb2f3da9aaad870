"""How a trial ended, decided by rules alone.

Rules, the first that holds:

1. `SLOW`: the run took more than 10 s of processor time, or waited until it was ended.
2. `TRACEBACK`: a traceback was shown, or a signal killed the process.
3. `EXIT_1`: the exit code is 1 or one that is not documented, also that of a row of a collection.
4. `OUTSIDE`: a listing of all around the results, with checksums, is not what it was before; or a
   file elsewhere was opened for writing, or another machine spoken to.
5. `BADLY`: refused (2 to 6), but not as `refusal_fault` asks; or refused what is whole.
6. `REFUSED`: refused rightly.
7. `SILENT`: accepted (0, 7, 8) although it can have no meaning; or what was written is broken, does
   harm, contradicts itself, or is not what the proof of the trial expects, and nothing says so.
8. `ACCEPTED`: accepted rightly.
"""

from __future__ import annotations

import csv
import hashlib
import json
import os
import re
from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path

from benchmarks.hostile.child import SLOW_S
from benchmarks.hostile.material import Material
from benchmarks.hostile.mutate import UNFIT, shown
from benchmarks.hostile.trial import Ended, Results, Stdout, Trial, Wanted
from benchmarks.hostile.wellformed import fault_of

Listing = Mapping[str, str]

REFUSALS = (2, 3, 4, 5, 6)
"""Exit codes of a refusal, as the page about the command line lists them."""
ACCEPTED = (0, 7, 8)
"""Exit codes of a run that was done."""
_DEFECT = "this is a defect of the program"
_LINE = 1200
"""Letters that a line of a message has at most; it may quote a path and a text of the input."""
_LINES = 2
_FAULT_LINES = 60
"""Lines of the faults of a filled-in sheet or a package, which are listed one by one."""
_INNARDS = re.compile(
    r"Traceback|NoneType|object has no|object at 0x|\bErrno\b|<class|site-packages|\.py\b|"
    r"\b[A-Z][a-zA-Z]+(Error|Exception|Warning)\b|pydantic|openpyxl|tomllib|numpy|cv2|OpenCV\(|"
    r"libpng|libjpeg|libtiff|Pillow|shapely|GEOS|TopologyException|codec can't|truth value|"
    r"unsupported operand|out of bounds for|broadcast"
)
"""What a message from inside a library or of Python looks like."""


_STEP = re.compile(r"rubbing2pattern: [0-9]+/[0-9]+ ")
"""A line of progress."""


class Verdict(StrEnum):
    """The columns of the table, after that of the trials made."""

    REFUSED = "refused rightly"
    ACCEPTED = "accepted rightly"
    BADLY = "refused badly"
    SILENT = "silent damage"
    TRACEBACK = "tracebacks"
    EXIT_1 = "exit 1"
    SLOW = "over 10 s"
    OUTSIDE = "written outside"


RIGHT = (Verdict.REFUSED, Verdict.ACCEPTED)
"""The ends that are wanted."""


def listing(place: Path) -> Listing:
    """Return every file, folder and link below a folder, with rights and checksum."""
    found = {}
    for base, folders, names in os.walk(place):
        for path in (Path(base) / name for name in [*folders, *names]):
            what = f"{path.lstat().st_mode:o} "
            if path.is_symlink():
                what += str(path.readlink())
            elif path.is_file():
                with path.open("rb") as file:
                    what += hashlib.file_digest(file, "sha1").hexdigest()
            found[str(path.relative_to(place))] = what
    return found


def changed(before: Listing, after: Listing) -> list[str]:
    """Return what is in one listing and not, or not alike, in the other."""
    return sorted(n for n in before.keys() | after.keys() if before.get(n) != after.get(n))


def judged(
    trial: Trial, ended: Ended, place: Path, before: Listing, material: Material
) -> tuple[Verdict, str]:
    """Return how a trial ended, and why that is wrong if it is."""
    if ended.hung or ended.processor_s > SLOW_S:
        return Verdict.SLOW, f"{ended.processor_s:.1f} s{', and hung' if ended.hung else ''}"
    if ended.code < 0 or "Traceback (most recent" in ended.said:
        return Verdict.TRACEBACK, f"exit {ended.code}: {ended.stderr[-300:]}"
    desk = place / "desk"
    after = listing(place)
    codes = [ended.code, *_row_codes(desk, before, after)]
    strange = [code for code in codes if code not in (*REFUSALS, *ACCEPTED)]
    if strange or _DEFECT in ended.said:
        return Verdict.EXIT_1, f"exit {strange}: {ended.stderr[-300:]}"
    touched = changed(before, after)
    own = tuple(os.path.normpath(f"desk/{name}") for name in trial.writes)
    beside = [name for name in touched if not any(_within(name, mine) for mine in own)]
    if beside or ended.outside:
        return Verdict.OUTSIDE, ", ".join([*beside, *ended.outside])[:400]
    if ended.code in REFUSALS:
        fault = refusal_fault(trial, ended, touched)
        return (Verdict.BADLY, fault) if fault else (Verdict.REFUSED, "")
    fault = _accepted_fault(trial, ended, desk, touched, material)
    return (Verdict.SILENT, fault) if fault else (Verdict.ACCEPTED, "")


def _within(name: str, mine: str) -> bool:
    return name == mine or name.startswith(mine + os.sep)


def _row_codes(desk: Path, before: Listing, after: Listing) -> list[int]:
    """Return the exit codes of the rows of a collection that was written."""
    codes: list[int] = []
    for name in changed(before, after):
        path = desk.parent / name
        if path.name == "results.csv" and path.is_file():
            with path.open(encoding="utf-8", newline="") as file:
                codes += [int(row["exit"]) for row in csv.DictReader(file) if row.get("exit")]
    return codes


def refusal_fault(trial: Trial, ended: Ended, touched: list[str]) -> str:
    """Say what is wrong with a refusal; nothing when it is right.

    1. What is whole must not be refused.
    2. Nothing is half written, and nothing that was there has changed. (Where only the summary
       cannot be shown, the results stay.)
    3. stdout is empty, but for the faults that `verify` lists.
    4. The message is one or two lines of the program's own, or a list of faults; it has no sign
       that a terminal obeys, no word of a library or of Python, no lines without end.
    5. It names the file or the option in which the fault lies.
    """
    if trial.wanted is Wanted.ACCEPTED:
        return f"what is whole is refused: {ended.stderr[:300]}"
    if touched and trial.stdout is Stdout.FILE:
        return f"refused, but changed: {', '.join(touched)[:300]}"
    if ended.stdout and trial.words[0] != "verify":
        return "a refusal writes to stdout"
    lines = [line for line in ended.said.splitlines() if line.strip() and not _STEP.match(line)]
    if not lines or not any(line.startswith("rubbing2pattern: ") for line in lines):
        return f"no message of the program's own: {ended.said[:300]!r}"
    listed = trial.words[0] == "verify" or " problems; " in lines[0]
    if len(lines) > (_FAULT_LINES if listed else _LINES):
        return f"{len(lines)} lines: {ended.stderr[:300]}"
    for line in lines:
        bad = UNFIT.search(line) or _INNARDS.search(line)
        if bad:
            return f"{bad[0]!r} in a message: {line[:400]}"
        if len(line) > _LINE:
            return f"a line of {len(line)} letters: {line[:200]}"
    if trial.names and not any(name in ended.said for name in trial.names):
        return f"names none of {', '.join(trial.names)}: {ended.stderr[:300]}"
    return ""


def _accepted_fault(
    trial: Trial, ended: Ended, desk: Path, touched: list[str], material: Material
) -> str:
    if trial.wanted is Wanted.REFUSED:
        return "accepted, though it can have no meaning"
    if UNFIT.search(ended.said):
        return f"a sign that a terminal obeys in {ended.said[:300]!r}"
    if "--json" in trial.words and trial.stdout is Stdout.FILE:
        try:
            json.loads(ended.stdout)
        except ValueError:
            return "the summary is not JSON"
    for name in touched:
        path = desk.parent / name
        if path.is_file() and not path.is_symlink():
            fault = fault_of(name, path.read_bytes())
            if fault:
                return fault
    try:
        return trial.proof(Results(desk, ended, material))
    except Exception as fault:  # whatever the readers of others raise: they do not read it
        return f"cannot be proved: {type(fault).__name__}: {shown(fault, 200)}"
