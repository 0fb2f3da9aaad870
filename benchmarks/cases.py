"""Rendered rubbings for the benchmarks, kept in a folder and rendered again only when needed."""

from __future__ import annotations

import argparse
import hashlib
import importlib
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
RENDERERS = {"first": "tests.rendering", "second": "tests.second_hand"}
"""The renderers by the hand that drew: different designs, physics and cameras."""


@dataclass(frozen=True, slots=True)
class Rubbing:
    """One case of the benchmark and the folder of its rendering."""

    design: str
    tier: str
    capture: str
    seed: int
    folder: Path
    hand: str = "first"

    @property
    def name(self) -> str:
        """A name for folders and tables."""
        return case_name(self.design, self.tier, self.capture, self.seed, self.hand)


def case_name(design: str, tier: str, capture: str, seed: int, hand: str) -> str:
    """Return the name of a case; only those of the second hand name their hand."""
    words = f"{tier}-{capture}-{design}-{seed}"
    return words if hand == "first" else f"{hand}-{words}"


def designs_of(hand: str) -> list[str]:
    """Return the names of a renderer's designs; it is imported only now."""
    return sorted(importlib.import_module(f"{RENDERERS[hand]}.designs").DESIGNS)


def fingerprint(hand: str = "first") -> str:
    """Return a hash of a renderer's source: another hash means that a rendering is out of date."""
    h = hashlib.sha256()
    for path in sorted((ROOT / RENDERERS[hand].replace(".", "/")).rglob("*.py")):
        h.update(path.read_bytes())
    return h.hexdigest()


def rendered(rubbing: Rubbing, version: str) -> Path:
    """Return the folder of a rendering, made now unless an up-to-date one lies there."""
    stamp = rubbing.folder / "version.txt"
    if not (stamp.exists() and stamp.read_text(encoding="utf-8") == version):
        command = [sys.executable, "-m", RENDERERS[rubbing.hand]]
        command += ["--design", rubbing.design, "--tier", rubbing.tier]
        command += ["--seed", str(rubbing.seed), "--capture", rubbing.capture]
        subprocess.run(
            [*command, "-o", str(rubbing.folder)], cwd=ROOT, check=True, stdout=subprocess.DEVNULL
        )
        stamp.write_text(version, encoding="utf-8")
    return rubbing.folder


def cases(
    tiers: list[str],
    captures: list[str],
    designs: list[str],
    seeds: list[int],
    out: Path,
    hand: str = "first",
) -> list[Rubbing]:
    """Return all cases of one hand in a fixed order."""
    return [
        Rubbing(d, t, c, s, out / "rubbings" / case_name(d, t, c, s, hand), hand)
        for t in tiers
        for c in captures
        for d in designs
        for s in seeds
    ]


def case_arguments(
    program: str, about: str | None, tiers: str, seeds: str
) -> argparse.ArgumentParser:
    """Return the command line that chooses cases, with the default tiers and seeds given."""
    parser = argparse.ArgumentParser(prog=f"python -m benchmarks.{program}", description=about)
    parser.add_argument("--tiers", default=tiers)
    parser.add_argument("--captures", default="scan,photo")
    parser.add_argument("--designs", default="all", help="names with commas, or all")
    parser.add_argument("--seeds", default=seeds)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", type=Path, default=ROOT / "benchmarks" / "out")
    return parser
