"""Files of every kind, damaged at random: refused in one sentence, never a crash.

Every reader gets good files with bytes changed, cut out, doubled or cut off, and plain rubbish. It
returns its datum or raises one of the program's own errors; anything else fails the test. What once
went wrong is kept in `tests/inputs/damaged/` and read again each time.
"""

from __future__ import annotations

import io
import json
import random
import tracemalloc
import zlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from PIL import Image

from rubbing2pattern.documents.matches import match_documents
from rubbing2pattern.documents.matches.record import read_matches
from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.inputs.about import read_about
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.inputs.reference import parse_reference, read_marks, read_targets
from rubbing2pattern.matching.known import read_known
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.load import LoadOptions
from rubbing2pattern.record.panel import panel_of, record_from_text, record_of, record_text
from rubbing2pattern.stages.load import load
from tests import panels
from tests.damage import damaged, returns_or_refuses
from tests.documents.matched import matching
from tests.glazing.sheets import documents, read

KEPT = Path(__file__).parent / "damaged"
SMALL = LoadOptions(size_limit_mp=1.0, smallest_side_px=16)
EXAMPLES = settings(max_examples=40, deadline=None, derandomize=True)
FEW = settings(EXAMPLES, max_examples=12)

CORRECTIONS = b"""by = "A. Glazier"
date = 2026-11-25
[[add_lead]]
from = [1, "1 in"]
to = [-2.5, 40]
width_mm = 6
[[remove_lead]]
came = "C3"
[[dismiss]]
code = "free-end"
at = [1, 2]
why = "a strap"
"""
MARKS = b"""pixel_x,pixel_y,x_mm,y_mm
10,20,0,0
900,30,400,0
890,700,400,300
12,690,0,300
"""
KNOWN = b"piece,number,photo\nP1,6,bench.jpg\nP2,7,bench.jpg\nP13,18,other.jpg\n"
ABOUT = b'title = "A window"\nwho = "A. Glazier"\ndate = "2026-11-25"\n'
TARGETS = b"id_a,id_b,distance_mm\n0,1,400\n1,2,300\n2,3,400\n3,0,300\n0,2,500\n1,3,500\n"


def picture(kind: str, mode: str) -> bytes:
    values = np.random.default_rng(1).integers(0, 255, (40, 52, 3), dtype=np.uint8)
    held = io.BytesIO()
    Image.fromarray(values).convert(mode).save(held, kind)
    return held.getvalue()


PICTURES = {
    f"{kind}-{mode}": picture(kind, mode)
    for kind, mode in (("PNG", "L"), ("PNG", "RGBA"), ("PNG", "P"), ("JPEG", "RGB"), ("TIFF", "L"))
}


@cache
def record() -> bytes:
    return record_text(record_of(panels.strapped(), {})).encode()


@cache
def matches() -> bytes:
    return match_documents(matching(), DocumentOptions())["matches.json"]


@cache
def workbook() -> bytes:
    return documents()["pieces.xlsx"]


def from_file(folder: Path, name: str, content: bytes, reader: Callable[[Path], Any]) -> None:
    """Read a file, and see that it is what it was."""
    path = folder / name
    path.write_bytes(content)
    returns_or_refuses(lambda: reader(path))
    assert path.read_bytes() == content


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("damaged")


READERS: dict[str, Callable[[Path], Any]] = {
    "picture": lambda path: load(path, SMALL),
    "corrections": lambda path: corrections_from(path.read_bytes(), path.name),
    "marks": read_marks,
    "targets": read_targets,
    "record": lambda path: panel_of(record_from_text(path.read_bytes(), path.name)),
    "sheet": lambda path: read(path.read_bytes()),
    "matches": read_matches,
    "known": read_known,
    "about": read_about,
}


@pytest.mark.parametrize("name", PICTURES)
@EXAMPLES
@given(data=st.data())
def test_damaged_pictures(name: str, data: st.DataObject, folder: Path) -> None:
    from_file(folder, "picture", data.draw(damaged(PICTURES[name])), READERS["picture"])


@pytest.mark.parametrize(
    ("kind", "good"),
    [
        ("corrections", CORRECTIONS),
        ("marks", MARKS),
        ("targets", TARGETS),
        ("known", KNOWN),
        ("about", ABOUT),
    ],
)
@EXAMPLES
@given(data=st.data())
def test_damaged_tables(kind: str, good: bytes, data: st.DataObject, folder: Path) -> None:
    from_file(folder, kind, data.draw(damaged(good)), READERS[kind])


@FEW
@given(data=st.data())
def test_damaged_records(data: st.DataObject, folder: Path) -> None:
    from_file(folder, "record", data.draw(damaged(record())), READERS["record"])


@FEW
@given(data=st.data())
def test_damaged_matches(data: st.DataObject, folder: Path) -> None:
    from_file(folder, "matches", data.draw(damaged(matches())), READERS["matches"])


@FEW
@given(data=st.data())
def test_damaged_workbooks(data: st.DataObject, folder: Path) -> None:
    from_file(folder, "sheet", data.draw(damaged(workbook())), READERS["sheet"])


@pytest.mark.parametrize("kind", READERS)
@EXAMPLES
@given(content=st.binary(max_size=400))
def test_rubbish(kind: str, content: bytes, folder: Path) -> None:
    from_file(folder, "rubbish", content, READERS[kind])


@EXAMPLES
@given(
    kind=st.sampled_from(("dpi", "ruler", "sheet")),
    text=st.one_of(
        st.text(max_size=40), st.from_regex(r"[0-9.,x mminA-Z+-]{0,30}", fullmatch=True)
    ),
)
def test_references_of_any_text(kind: str, text: str) -> None:
    returns_or_refuses(lambda: parse_reference(**{kind: text}))


JSON = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-(10**30), 10**30),
        st.floats(allow_nan=False),
        st.text(max_size=6),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=4), inner)
    ),
    max_leaves=5,
)


def with_one_value_changed(content: bytes, seed: int, value: Any) -> str:
    tree = json.loads(content)
    chance, node = random.Random(seed), tree
    while True:
        key = chance.choice(list(node) if isinstance(node, dict) else range(len(node)))
        if not isinstance(node[key], dict | list) or not node[key] or chance.random() < 0.1:
            node[key] = value
            return json.dumps(tree)
        node = node[key]


@settings(EXAMPLES, max_examples=60)
@given(seed=st.integers(0, 10**6), value=JSON)
def test_records_with_one_value_changed(seed: int, value: Any) -> None:
    """Whatever stands in the place of any one value: a panel comes of it, or a clear refusal."""
    text = with_one_value_changed(record(), seed, value)
    returns_or_refuses(lambda: panel_of(record_from_text(text, "record")))


@settings(EXAMPLES, max_examples=60)
@given(seed=st.integers(0, 10**6), value=JSON)
def test_matches_with_one_value_changed(seed: int, value: Any, folder: Path) -> None:
    text = with_one_value_changed(matches(), seed, value)
    from_file(folder, "matches", text.encode(), READERS["matches"])


@pytest.mark.parametrize("path", sorted(KEPT.glob("*-*")), ids=lambda path: path.name)
def test_what_once_went_wrong(path: Path) -> None:
    returns_or_refuses(lambda: READERS[path.name.split("-")[0]](path))


@pytest.mark.parametrize("name", ["PNG-L", "TIFF-L"])
def test_a_header_that_claims_gigapixels_takes_no_memory(name: str, tmp_path: Path) -> None:
    """The claim is refused before anything is held."""
    content = bytearray(PICTURES[name])
    if name == "PNG-L":
        content[16:24] = (60_000).to_bytes(4, "big") * 2
        content[29:33] = zlib.crc32(bytes(content[12:29])).to_bytes(4, "big")
    else:
        content = content.replace((52).to_bytes(4, "little"), (60_000).to_bytes(4, "little"))
        content = content.replace((40).to_bytes(4, "little"), (60_000).to_bytes(4, "little"))
    path = tmp_path / "large"
    path.write_bytes(content)
    tracemalloc.start()
    with pytest.raises(InputUnreadable):
        load(path, LoadOptions())
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 20_000_000
