"""A finding is data: its sentence is made when it is shown, its name stays through corrections."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest

from rubbing2pattern.cli.summary import finding_lines
from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.findings import Code, Finding, Kind, Severity, finding_of
from rubbing2pattern.findings.names import named
from rubbing2pattern.findings.sentence import fields_of
from rubbing2pattern.model import Corrected as Mark, Panel
from rubbing2pattern.record.panel import panel_of, read_record, record_from_text, record_of
from rubbing2pattern.units import Unit
from tests import nets
from tests.correcting.making import ACROSS, corrected, panel_from, piece, text_of
from tests.nets import frame
from tests.running import ROOT

OLD = ROOT / "tests" / "record" / "kept" / "panel-with-messages.json"
GAP = finding_of(
    Kind.BRIDGED_GAP, (50.0, 60.0), cames=("C4",), joints=("J2",), gap_mm=31.75, from_mm=101.6
)
FIGURES = {
    "file": "Scan.tif", "mark": "Mark 3", "side": "upper", "seen": "sheet", "loose": "P2",
    "reference": "marks", "targets": "3, 5", "row": "C3=8.4mm", "smallest": "3/16 in",
}  # fmt: skip


def filled(kind: Kind) -> Finding:
    """Return a finding with everything that the sentence of a kind can say."""
    fields = set().union(*map(fields_of, kind.parts)) - {
        "came", "cames", "other_came", "joint", "joints", "piece", "pieces", "largest", "below",
        "above",
    }  # fmt: skip
    given = {name: FIGURES.get(name, 2.5) for name in fields}
    return finding_of(kind, cames=("C1", "C2"), joints=("J1",), pieces=(7, 8), **given)


@pytest.mark.parametrize("units", ["mm", "in"])
def test_every_kind_says_one_sentence_in_the_units_asked_for(units: Unit) -> None:
    for kind in Kind:
        said = filled(kind).sentence(units)
        assert said[0].isupper() or said[0].isdigit(), f"{kind.key}: {said}"
        assert said.endswith(".") and ". " not in said, f"{kind.key}: {said}"
        assert not re.search(r"[{}|]|\bnan\b", said), f"{kind.key}: {said}"
        foreign = r"inch" if units == "mm" else r"\d (mm|cm|m)\b|mm²|millimetre"
        assert not re.search(foreign, said), f"{kind.key}: {said}"


def test_a_length_is_written_in_the_units_asked_for() -> None:
    said = "C4 is not seen for {}, {} from J2, and is drawn on through the gap."
    assert GAP.message == said.format("32 mm", "102 mm")
    assert GAP.sentence("in") == said.format("1 1/4 in", "4 in")
    doubt = finding_of(Kind.LEAD_OFF, off_mm=1.27)
    assert "lie 1.3 mm or more" in doubt.message
    assert "lie 0.050 in or more" in doubt.sentence("in")
    coarse = finding_of(Kind.LOW_RESOLUTION, seen_px_per_mm=3.1, least_px_per_mm=4)
    assert "has 3.1 pixels per millimetre" in coarse.message
    assert "has 79 pixels per inch" in coarse.sentence("in")


def test_lists_agree_with_their_verbs() -> None:
    def narrow(count: int) -> str:
        cames = [f"C{k}" for k in range(1, count + 1)]
        return finding_of(Kind.WIDTH_TOO_NARROW, cames=cames, cover_mm=2.4).message

    assert narrow(1).startswith("C1 measures less than 2.4 mm")
    assert narrow(2).startswith("C1 and C2 measure less")
    assert narrow(7).startswith("C1, C2, C3, C4 and 3 more measure less")
    loose = finding_of(Kind.NONE_AS_LIKELY, pieces=(3, 4, 9), loose="P2")
    assert "with number 3, 4 or 9, but that it has no place here" in loose.message


def test_the_piece_that_a_sentence_names_comes_first() -> None:
    sliver = finding_of(Kind.SLIVER_PIECE, pieces=(5,), across_mm=2.0).touching((7, 3))
    assert sliver.pieces == (5, 3, 7) and "Piece 5 " in sliver.message
    later = sliver.renamed(pieces={3: 9, 5: 40, 7: 1}.__getitem__)
    assert later.pieces == (40, 1, 9) and "Piece 40 " in later.message
    assert GAP.touching((8, 2)).renamed(pieces={8: 1, 2: 4}.__getitem__).pieces == (1, 4)


def test_a_finding_without_a_figure_of_its_sentence_is_refused() -> None:
    with pytest.raises(ValueError, match="bridged-gap lacks"):
        finding_of(Kind.BRIDGED_GAP, cames=("C1",), joints=("J1",), gap_mm=3.0)


def test_no_sentence_is_searched_or_rewritten_by_a_pattern() -> None:
    """Modules that know findings have no regular expressions; those of words read what is typed."""
    for path in sorted((ROOT / "rubbing2pattern").rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        if re.search(r"\bFinding\b|\.message\b", text):
            assert not re.search(r"^import re$|\bre\.", text, re.MULTILINE), path.name


def test_cames_and_pieces_are_fields_of_the_record() -> None:
    net = frame(200, 100).line((0, 0), (200, 100), gaps=((50.0, 80.0),)).net()
    (part,) = json.loads(text_of(panel_from(net)))["findings"]
    assert part["id"] == "F1" and part["kind"] == "bridged-gap"
    (came,) = part["cames"]
    (joint,) = part["joints"]
    low_mm = part["numbers"]["from_mm"]
    assert part["numbers"] == {"gap_mm": 30.0, "from_mm": low_mm}
    said = f"{came} is not seen for 30 mm, {low_mm:.0f} mm from {joint}, and is drawn on through"
    assert part["message"] == f"{said} the gap."


def test_names_go_on_where_they_ended() -> None:
    first, second, third = named([GAP, GAP.moved((90.0, 60.0)), GAP.moved((10.0, 60.0))])
    assert [f.id for f in (first, second, third)] == ["F1", "F2", "F3"]
    again = named([replace(third, id=""), replace(GAP, at=(500.0, 5.0), cames=("C9",))],
                  [first, third], ["F8"], same_place_mm=3.0)  # fmt: skip
    assert [f.id for f in again] == ["F3", "F9"]
    moved = replace(first, id="", at=(50.0, 300.0))
    assert named([moved], [first, second], same_place_mm=3.0)[0].id == "F1"


def gaps() -> Panel:
    """Return the four pieces with a gap in three of their leads, and a finding of the reading."""
    net = nets.two_by_two().net()
    cames = list(net.cames)
    for k in (0, 6, 9):
        cames[k] = replace(cames[k], gaps=((10.0, 42.0),), confidence=0.9)
    faint = finding_of(Kind.FAINT_REGION, (150.0, 75.0), shown_share=0.4)
    return panel_from(replace(net, cames=tuple(cames), findings=(faint,)))


def names(panel: Panel) -> dict[tuple[float, float] | None, str]:
    return {f.at: f.id for f in panel.findings}


def test_names_stay_through_every_later_correction() -> None:
    panel = gaps()
    before = names(panel)
    assert sorted(before.values()) == ["F1", "F2", "F3", "F4"]
    gone_at = next(f.at for f in panel.findings if f.code is Code.BRIDGED_GAP)
    dismissed = f'[[dismiss]]\ncode = "bridged-gap"\nat = {list(gone_at)}\nwhy = "seen"\n'
    first = corrected(panel, dismissed + ACROSS)
    name = before[gone_at]
    assert [d.finding.id for d in first.panel.dismissed] == [name]
    assert first.applied.findings_gone == (name,)
    assert first.applied.findings_new == ("F5",)
    assert [c.did for c in first.applied.changes][-1] == f"{name} bridged-gap dismissed"
    kept = {at: own for at, own in names(first.panel).items() if own != "F5"}
    assert kept == {at: own for at, own in before.items() if at != gone_at}
    added = next(c.id for c in first.panel.cames if c.corrected is Mark.ADDED)
    (new,) = [f for f in first.panel.findings if f.id == "F5"]
    assert (new.kind, new.cames) == (Kind.WIDTH_UNMEASURED, (added,))
    second = corrected(panel_of(record_of(first.panel, {})), f'[[remove_lead]]\ncame = "{added}"\n')
    assert {*names(second.panel).values()} == {*kept.values()}
    third = corrected(panel_of(record_of(second.panel, {})), ACROSS).panel
    assert {*names(third).values()} == {*kept.values(), "F6"}, "F5 is gone and not used again"


def test_a_sentence_follows_a_renumbered_piece() -> None:
    net = frame(200, 100).line((0, 97), (200, 97)).net()
    panel = panel_from(net)
    (sliver,) = [f for f in panel.findings if f.code in (Code.SLIVER_PIECE, Code.NO_GLASS_LEFT)]
    number = sliver.pieces[0]
    assert f"Piece {number} " in sliver.message
    text = f"[[renumber]]\npiece = {number}\nnumber = 40\n"
    text += f'[[dismiss]]\ncode = "{sliver.code}"\npiece = {number}\nwhy = "seen"\n'
    done = corrected(panel, text).panel
    (dismissal,) = done.dismissed
    assert dismissal.finding.pieces == (40,)
    assert "Piece 40 " in dismissal.finding.message
    assert piece(done, 40)


def test_a_finding_about_a_lead_that_is_gone_is_settled() -> None:
    panel = gaps()
    width = finding_of(
        Kind.CALIPER_DISAGREES, (100.0, 225.0), cames=("C9",), width_mm=8.4, row="C9=8.4mm",
        wider_mm=2.0, limit_mm=0.5,
    )  # fmt: skip
    panel = replace(panel, findings=named([*panel.findings, width]))
    name = next(f.id for f in panel.findings if f.code is Code.WIDTH_UNCERTAIN)
    stays = corrected(panel, ACROSS + "width_mm = 6\n").panel
    assert name in names(stays).values()
    gone = corrected(panel, '[[remove_lead]]\ncame = "C9"\n')
    assert name in gone.applied.findings_gone


# A record written before findings had figures


def test_an_older_record_keeps_its_sentences_and_gets_names() -> None:
    panel = panel_of(read_record(OLD))
    said = [part["message"] for part in json.loads(OLD.read_text(encoding="utf-8"))["findings"]]
    assert [f.message for f in panel.findings] == said
    assert [f.sentence("in") for f in panel.findings] == said
    assert [f.id for f in panel.findings] == [f"F{k}" for k in range(1, len(said) + 1)]
    assert panel.dismissed[0].finding.id == f"F{len(said) + 1}"
    again = panel_of(record_from_text(text_of(panel)))
    assert again.findings == panel.findings and again.dismissed == panel.dismissed


def test_an_older_record_is_corrected() -> None:
    panel = panel_of(read_record(OLD))
    done = corrected(panel, "[[renumber]]\npiece = 4\nnumber = 12\n").panel
    assert sorted(f.id for f in done.findings) == sorted(f.id for f in panel.findings)
    assert {f.id: f.code for f in done.findings} == {f.id: f.code for f in panel.findings}
    assert not any(f.code is Code.SCALE_UNCERTAIN for f in done.findings), "was dismissed"
    gap = next(f for f in done.findings if f.code is Code.BRIDGED_GAP)
    assert gap.kind is Kind.BRIDGED_GAP and gap.numbers["gap_mm"] == pytest.approx(32.0)


@pytest.mark.parametrize("broken", [{"kind": "of-another-version"}, {"numbers": {}}])
def test_a_sentence_that_cannot_be_made_stays_as_it_was_written(broken: dict[str, object]) -> None:
    datum = json.loads(text_of(gaps()))
    part = next(f for f in datum["findings"] if f["code"] == "bridged-gap")
    part |= {**broken, "message": "As it was written."}
    panel = panel_of(record_from_text(json.dumps(datum)))
    assert next(f for f in panel.findings if f.id == part["id"]).message == "As it was written."


def test_a_record_names_no_finding_twice_and_no_came_that_is_not_there() -> None:
    datum = json.loads(text_of(gaps()))
    datum["findings"][1]["id"] = datum["findings"][0]["id"]
    datum["findings"][0]["cames"] = ["C99"]
    with pytest.raises(InputUnreadable, match=r"findings\.id.*C99|C99"):
        record_from_text(json.dumps(datum))


# What is shown


def test_the_console_shows_names_and_units() -> None:
    panel = corrected(gaps(), ACROSS).panel
    for units in ("mm", "in"):
        lines = finding_lines(panel, units)[1:]
        assert {line.split()[1] for line in lines} == {f.id for f in panel.findings}
        assert all(line.split()[0] in [*Severity] for line in lines)
        text = "\n".join(lines)
        assert ("mm" in text) is (units == "mm") and (" in" in text)
        gap = next(line for line in lines if "bridged-gap" in line)
        assert ("32 mm" if units == "mm" else "1 1/4 in") in gap
