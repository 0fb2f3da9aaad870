"""The public names exist, cost nothing until used, and say what they are."""

from __future__ import annotations

import inspect
from pathlib import Path

import pytest

import rubbing2pattern
from tests.running import ROOT, python
from tests.structure.house import shown


def rooms() -> dict[str, list[str]]:
    """Return the public names by the room of the package that they come from."""
    found: dict[str, list[str]] = {}
    for name in rubbing2pattern.__all__:
        room = rubbing2pattern._ROOM_OF.get(name, "top").split(".")[0]
        found.setdefault(room, []).append(name)
    return found


def place_of(datum: object) -> str:
    """Return file and line of what a public name stands for."""
    path = Path(inspect.getsourcefile(datum) or "")  # type: ignore[arg-type]
    return f"{shown(path)}:{inspect.getsourcelines(datum)[1]}"  # type: ignore[arg-type]


@pytest.mark.parametrize("room", rooms())
def test_every_public_name_is_there_and_described(room: str) -> None:
    for name in rooms()[room]:
        assert name in dir(rubbing2pattern)
        datum = getattr(rubbing2pattern, name)
        if isinstance(datum, type) or callable(datum):
            assert datum.__doc__, f"{place_of(datum)} {name} has no docstring"


def test_the_place_of_a_name_is_its_file_and_line() -> None:
    path, line = place_of(rubbing2pattern.trace_rubbing).split(":")
    assert path == "rubbing2pattern/workflows/pipeline.py"
    assert (ROOT / path).read_text("utf-8").splitlines()[int(line) - 1] == "def trace_rubbing("


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
    result = python("-c", code)
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
