"""Edits and the one form of a file of corrections: what is written is read again as it was."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Code
from rubbing2pattern.inputs.correction_tables import TABLES
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.inputs.edits import corrections_of, corrections_text, edit_of, edits_in
from rubbing2pattern.texts import LARGEST_ID

LENGTHS = st.one_of(
    st.floats(-1e6, 1e6), st.sampled_from([-0.0, 5.0, 1e-7, 1e22, 0.1 + 0.2]), st.integers(-9, 9)
)
PLACES = st.lists(LENGTHS, min_size=2, max_size=2)
WIDTHS = st.floats(1, 60)
NUMBERS = st.integers(1, LARGEST_ID)
WORDS = st.text(
    st.characters(codec="utf-8", exclude_categories=("C", "Z")) | st.sampled_from("\\\"'#=[]é\t "),
    max_size=30,
).map(lambda text: f"a{text}b")

LINES = WORDS.map(lambda text: text.replace("\t", " "))


def fields(**always: Any) -> Any:
    return lambda **more: st.fixed_dictionaries(always, optional=more)


LINE = fields(**{"from": PLACES, "to": PLACES})
EDITS = {
    "remove_lead": fields(came=NUMBERS.map("C{}".format))(border=st.booleans()),
    "join_pieces": fields(pieces=st.lists(NUMBERS, min_size=2, max_size=4))(),
    "move_joint": fields(at=PLACES, to=PLACES)(),
    "move_lead": fields(came=NUMBERS.map("C{}".format), by=PLACES)(),
    "add_lead": LINE(through=st.lists(PLACES, max_size=3), width_mm=WIDTHS, free_end=st.booleans()),
    "split_piece": fields(**{"piece": NUMBERS, "from": PLACES, "to": PLACES})(width_mm=WIDTHS),
    "set_width": fields(at=PLACES, width_mm=WIDTHS)(uncertainty_mm=st.floats(0, 5)),
    "seen_from": fields(side=st.sampled_from(["inside", "outside"]))(),
    "renumber": fields(piece=NUMBERS, number=NUMBERS)(),
    "dismiss": fields(code=st.sampled_from([c.value for c in Code]), at=PLACES, why=WORDS)(),
}
ANY_EDIT = st.one_of([form.map(lambda g, k=kind: (k, g)) for kind, form in EDITS.items()])


def test_every_kind_is_tried() -> None:
    assert set(EDITS) == set(TABLES)


@settings(max_examples=25)
@given(st.lists(ANY_EDIT, min_size=1, max_size=6), LINES, st.just("") | WORDS)
def test_what_is_written_is_read_again(
    given: list[tuple[str, dict[str, Any]]], by: str, remark: str
) -> None:
    edits = [edit_of(kind, fields) for kind, fields in given]
    corrections = corrections_of(edits, by, "2026-11-25", f"{remark}\n\n{remark}")
    text = corrections_text(corrections)
    try:
        read = corrections_from(text.encode()).corrections
    except UsageFault as fault:
        assert "dismisses the same" in str(fault)
        return
    assert read == corrections
    assert corrections_text(read) == text
    assert sorted(map(repr, edits_in(read))) == sorted(map(repr, edits))


def test_the_form_of_a_file() -> None:
    edits = [
        edit_of("dismiss", {"name": "F3", "why": 'a "strap"'}),
        edit_of("add_lead", {"from": [0, 200.00049], "to": [100, 1e-4], "free_end": True}),
        edit_of("set_width", {"came": "C4", "width_mm": "1/4 in"}),
    ]
    assert corrections_text(corrections_of(edits, "A. Glazier", "2026-11-25", "x\ny")) == (
        'by = "A. Glazier"\n'
        "date = 2026-11-25\n"
        'remark = "x\\ny"\n'
        "\n[[add_lead]]\n"
        "from = [0, 200]\n"
        "to = [100, 0]\n"
        "free_end = true\n"
        "\n[[set_width]]\n"
        'came = "C4"\n'
        "width_mm = 6.35\n"
        "\n[[dismiss]]\n"
        'name = "F3"\n'
        'why = "a \\"strap\\""\n'
    )


@pytest.mark.parametrize(
    ("kind", "given", "words"),
    [
        ("ad_lead", {}, "there is no correction 'ad_lead'; there are remove_lead"),
        ("add_lead", {"from": [1, 2]}, "add_lead, to: is missing"),
        ("add_lead", {"from": [1, 2], "to": [3]}, "add_lead, to"),
        ("set_width", {"came": "C1", "width_mm": 100}, "set_width, width_mm"),
        ("set_width", {"width_mm": 10}, "set_width: give exactly one of at, came"),
        ("set_width", {"came": "C1", "width_mm": 10, "why": "x"}, "set_width, why"),
        ("move_joint", {"joint": "5", "to": [1, 2]}, "move_joint, joint"),
        ("move_joint", {"joint": "J5", "to": [1, float("nan")]}, "move_joint, to"),
    ],
)
def test_what_is_no_edit(kind: str, given: dict[str, Any], words: str) -> None:
    with pytest.raises(UsageFault) as caught:
        edit_of(kind, given)
    assert words in str(caught.value)


@pytest.mark.parametrize("head", [("", "2026-11-25"), ("A", "25 November"), ("A\nB", "2026-11-25")])
def test_a_head_that_no_file_takes(head: tuple[str, str]) -> None:
    with pytest.raises(UsageFault, match=r"by: |date: "):
        corrections_of([edit_of("remove_lead", {"came": "C1"})], *head)
