"""Rendered rubbings for the benchmarks, kept in a folder and rendered again only when needed."""

from __future__ import annotations

import argparse
import hashlib
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
RENDERER = ROOT / "tests" / "rendering"


@dataclass(frozen=True, slots=True)
class Rubbing:
    """One case of the benchmark and the folder of its rendering."""

    design: str
    tier: str
    capture: str
    seed: int
    folder: Path

    @property
    def name(self) -> str:
        """A name for folders and tables."""
        return f"{self.tier}-{self.capture}-{self.design}-{self.seed}"


def fingerprint() -> str:
    """Return a hash of the renderer's source, which tells whether a rendering is out of date."""
    h = hashlib.sha256()
    for path in sorted(RENDERER.rglob("*.py")):
        h.update(path.read_bytes())
    return h.hexdigest()


def rendered(rubbing: Rubbing, version: str) -> Path:
    """Return the folder of a rendering, made now unless an up-to-date one lies there."""
    stamp = rubbing.folder / "version.txt"
    if not (stamp.exists() and stamp.read_text(encoding="utf-8") == version):
        command = [sys.executable, "-m", "tests.rendering"]
        command += ["--design", rubbing.design, "--tier", rubbing.tier]
        command += ["--seed", str(rubbing.seed), "--capture", rubbing.capture]
        subprocess.run(
            [*command, "-o", str(rubbing.folder)], cwd=ROOT, check=True, stdout=subprocess.DEVNULL
        )
        stamp.write_text(version, encoding="utf-8")
    return rubbing.folder


def cases(
    tiers: list[str], captures: list[str], designs: list[str], seeds: list[int], out: Path
) -> list[Rubbing]:
    """Return all cases in a fixed order."""
    return [
        Rubbing(d, t, c, s, out / "rubbings" / f"{t}-{c}-{d}-{s}")
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
