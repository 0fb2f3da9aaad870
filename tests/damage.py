"""Good files made bad at random, and the rule that their readers keep."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from hypothesis import strategies as st

from rubbing2pattern.errors import RubbingError


@st.composite
def damaged(draw: st.DrawFn, content: bytes) -> bytes:
    """Return content with up to five damages."""
    data = bytearray(content)
    for _ in range(draw(st.integers(1, 5))):
        at = draw(st.integers(0, max(len(data) - 1, 0)))
        length = draw(st.integers(1, 40))
        match draw(st.sampled_from(("flip", "set", "cut", "double", "end", "zero"))):
            case "flip" if data:
                data[at] ^= 1 << draw(st.integers(0, 7))
            case "set" if data:
                data[at : at + 4] = draw(st.binary(min_size=1, max_size=8))
            case "cut":
                del data[at : at + length]
            case "double":
                data[at:at] = data[at : at + length]
            case "end":
                del data[at:]
            case "zero":
                data[at : at + length] = bytes(length)
    return bytes(data)


def returns_or_refuses(reader: Callable[[], Any]) -> None:
    """Call a reader; it returns, or tells in one sentence of the program's own what is wrong."""
    try:
        reader()
    except RubbingError as fault:
        assert str(fault).strip()
        assert len(str(fault)) < 4000
