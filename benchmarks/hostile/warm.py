"""Everything that a run loads, loaded once in the parent of all runs."""

from __future__ import annotations

import importlib
import pkgutil
import tempfile
from pathlib import Path

import cv2
from PIL import Image

import rubbing2pattern
from benchmarks.hostile.material import DPI, rubbing


def warmed() -> None:
    """Import all modules of the program and trace a rubbing, so that libraries are loaded too.

    With one thread: OpenCV's others would be missing in a forked child, which would wait for them.
    """
    cv2.setNumThreads(1)
    for module in pkgutil.walk_packages(rubbing2pattern.__path__, "rubbing2pattern."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    from rubbing2pattern import trace_rubbing
    from rubbing2pattern.inputs.reference import parse_reference

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rubbing.png"
        Image.fromarray(rubbing()).save(path)
        trace_rubbing(path, parse_reference(dpi=DPI))
