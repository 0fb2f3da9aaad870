"""Try hostile inputs on all commands and print a table of how each kind ends."""

from __future__ import annotations

import argparse
import gc
import re
import shlex
import shutil
import sys
import tempfile
import warnings
from collections import Counter
from pathlib import Path
from random import Random

import benchmarks.hostile  # noqa: F401  (its settings come before numpy)
from benchmarks.hostile import child, judge, table
from benchmarks.hostile.kinds import KINDS
from benchmarks.hostile.material import Material, made
from benchmarks.hostile.trial import Ended, Kind, Trial
from benchmarks.hostile.warm import warmed

SEED = 15
COUNT = 175
"""Trials of a kind: with all kinds more than five thousand."""
_RECURSION = 20_000
"""Levels of calls, for data nested deeper than any reader should follow."""


def attempt(trial: Trial, material: Material, place: Path) -> tuple[Ended, judge.Verdict, str]:
    """Lay a trial out in an empty folder, run it and judge it."""
    lay_out(trial, material, place)
    before = judge.listing(place)
    ended = child.run(trial.words, place, trial.stdout)
    verdict, why = judge.judged(trial, ended, place, before, material)
    return ended, verdict, why


def lay_out(trial: Trial, material: Material, place: Path) -> None:
    """Write what a trial needs, and things beside it that must stay as they are."""
    desk = place / "desk"
    for name in ("desk", "home", "tmp", "beside"):
        (place / name).mkdir(parents=True)
    (place / "beside" / "precious.txt").write_text("keep me\n", encoding="utf-8")
    (desk / "notes.txt").write_text("keep me too\n", encoding="utf-8")
    for name in trial.needs:
        source = material.folder / name
        if source.is_dir():
            shutil.copytree(source, desk / name, symlinks=True)
        else:
            shutil.copyfile(source, desk / name)
    for name, content in trial.files.items():
        path = desk / name
        if content is None:
            path.unlink()
        else:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
    if trial.prepare is not None:
        trial.prepare(desk)


def trial_of(kind: Kind, number: int, seed: int, material: Material) -> Trial:
    """Return a trial by its number; number 0 is the whole input."""
    if number == 0:
        return kind.whole(material)
    return kind.make(material, Random(f"{seed} {kind.name} {number}"))


def keep(folder: Path, trial: Trial, material: Material, said: str) -> None:
    """Keep a trial as it was before it ran, with its command line."""
    shutil.rmtree(folder, ignore_errors=True)
    lay_out(trial, material, folder)
    line = f"cd desk && python -m rubbing2pattern {shlex.join(trial.words)}"
    if trial.stdout.value != "file":
        line += f"  # stdout is {trial.stdout}"
    (folder / "command.txt").write_text(
        f"{line}\n\n{trial.damage}\n\n{said}\n", encoding="utf-8", errors="backslashreplace"
    )


def plain(message: str) -> str:
    """Return a message without what differs from trial to trial, so that like ones are one."""
    line = message.strip().split("\n")[0][:400]
    return re.sub(r"\d+(\.\d+)?", "N", re.sub(r"'[^']*'|\"[^\"]*\"", "'...'", line))


def tried(kind: Kind, given: argparse.Namespace, material: Material, work: Path) -> table.Row:
    """Make all trials of a kind."""
    row, messages = table.Row(kind.name), Counter[str]()
    numbers = range(given.count) if given.only is None else [given.only]
    for number in numbers:
        trial = trial_of(kind, number, given.seed, material)
        place = Path(tempfile.mkdtemp(dir=work))
        ended, verdict, why = attempt(trial, material, place)
        shutil.rmtree(place, ignore_errors=True)
        row.ends[verdict] += 1
        row.longest_s = max(row.longest_s, ended.processor_s)
        name = f"{kind.name}-{number}"
        if verdict is judge.Verdict.REFUSED:
            messages[plain(ended.said)] += 1
        elif verdict is not judge.Verdict.ACCEPTED:
            print(f"{name}: {verdict}: {trial.damage}: {ascii(why)[:600]}", file=sys.stderr)
            said = f"{verdict}: {why}\nexit {ended.code}\n{ended.said}"
            keep(given.keep / name, trial, material, said)
        if given.only is not None:
            print(f"{shlex.join(trial.words)}\n{trial.damage}\nexit {ended.code}", file=sys.stderr)
            print(f"{ended.processor_s:.2f} s, {verdict}: {why}\n{ended.said}", file=sys.stderr)
    if messages:
        given.keep.mkdir(parents=True, exist_ok=True)
        lines = [f"{count:5} {message}\n" for message, count in messages.most_common()]
        (given.keep / f"refusals-{kind.name}.txt").write_text("".join(lines), encoding="utf-8")
    return row


def arguments() -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.hostile", description=__doc__)
    parser.add_argument("--kind", default=",".join(KINDS), help="names with commas")
    parser.add_argument("--count", type=int, default=COUNT, help="trials of each kind")
    parser.add_argument("--only", type=int, help="make the trial of this number alone, and show it")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument(
        "--keep",
        type=Path,
        default=Path("benchmarks/out/hostile"),
        help="folder for failing inputs, and for the messages of the refusals, to be read",
    )
    parser.add_argument("--list", action="store_true", help="say what the kinds are")
    return parser.parse_args()


def main() -> int:
    """Try all kinds and print a table; the exit code is 1 when a trial ended as none should."""
    given = arguments()
    if given.list:
        print("\n".join(f"{kind.name}: {kind.meaning}" for kind in KINDS.values()))
        return 0
    given.keep = given.keep.resolve()
    warnings.simplefilter("ignore")  # of the readers of others, about what is spoilt
    sys.setrecursionlimit(_RECURSION)
    with tempfile.TemporaryDirectory(prefix="hostile-") as held:
        work = Path(held)
        warmed()
        material = made(work / "material")
        gc.freeze()
        print(table.heading(), flush=True)
        rows = []
        for name in given.kind.split(","):
            rows.append(tried(KINDS[name], given, material, work))
            print(rows[-1].shown(), flush=True)
    print(table.total(rows).shown())
    return 1 if any(row.wrong for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
