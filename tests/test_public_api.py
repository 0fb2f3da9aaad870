"""The public names exist, cost nothing until used, and say what they are."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import rubbing2pattern

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize("name", rubbing2pattern.__all__)
def test_every_public_name_is_there_and_described(name: str) -> None:
    datum = getattr(rubbing2pattern, name)
    assert name in dir(rubbing2pattern)
    if isinstance(datum, type) or callable(datum):
        assert datum.__doc__, f"{name} has no docstring"


def test_an_unknown_name_is_refused() -> None:
    with pytest.raises(AttributeError, match="no attribute 'glaze'"):
        rubbing2pattern.glaze  # noqa: B018


def test_importing_the_package_loads_nothing() -> None:
    code = (
        "import sys, rubbing2pattern\n"
        "own = {m for m in sys.modules if m.startswith('rubbing2pattern.')}\n"
        "own = sorted(own - {'rubbing2pattern._version'})\n"
        "sys.exit(', '.join(own + [m for m in ('numpy', 'cv2') if m in sys.modules]) or 0)"
    )
    result = subprocess.run(
        [sys.executable, "-c", code],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert result.returncode == 0, result.stderr


def test_every_error_has_an_exit_code_of_its_own() -> None:
    """But a picture without leads and one without glass: both show nothing that is looked for.

    A damaged program is a defect of the program, whoever damaged it.
    """
    family = rubbing2pattern.RubbingError.__subclasses__()
    codes = {kind.__name__: kind.exit_code for kind in family}
    assert codes.pop("NoGlassFound") == codes["NoLeadFound"] == 5
    assert codes.pop("ProgramDamaged") == 1
    assert sorted(codes.values()) == [2, 3, 4, 5, 6]
