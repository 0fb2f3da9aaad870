"""Lengths and sheets, against the published sizes."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, strategies as st

from rubbing2pattern import units
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.units import (
    format_length,
    inch_fraction,
    parse_length,
    parse_sheet,
)

INCH_MM = 25.4  # international yard and pound agreement 1959; NIST SP 811, exact


@pytest.mark.parametrize(
    ("text", "expected_mm"),
    [
        ("600mm", 600.0),
        ("600 MM", 600.0),
        ("60 cm", 600.0),
        ("1.2 m", 1200.0),
        (".5m", 500.0),
        ("600", 600.0),
        ("23 5/8 in", 23.625 * INCH_MM),
        ("23-5/8in", 23.625 * INCH_MM),
        ('23 5/8"', 23.625 * INCH_MM),
        ("23⅝″", 23.625 * INCH_MM),
        ("1/4 inch", 6.35),
        ('12"', 304.8),
        ("12''", 304.8),
        ("12”", 304.8),
        ("0.5 in", 12.7),
        ("2 ft", 609.6),
        ("2' 3 1/2\"", 27.5 * INCH_MM),
        ("2ft 3in", 27 * INCH_MM),
        ("0", 0.0),
        (" 6\u00a0mm ", 6.0),
    ],
)
def test_lengths(text: str, expected_mm: float) -> None:
    assert parse_length(text) == pytest.approx(expected_mm, rel=1e-15, abs=0.0)


def test_bare_number_takes_the_default_unit() -> None:
    assert parse_length("24", "in") == 609.6
    assert parse_length("5/8", "in") == 15.875


@pytest.mark.parametrize(
    "text",
    ["", "mm", "six", "-5mm", "1,5 mm", "1e3mm", "5/8 mm", "5/0 in", "3 9/8 in", "3 in in", "nan",
     "inf", "12 yd", "6' 2", "1 2 in", "99999999999mm", "٣mm"],
)  # fmt: skip
def test_no_length(text: str) -> None:
    with pytest.raises(UsageFault, match=r"write|fraction"):
        parse_length(text)


def test_unknown_default_unit_is_named() -> None:
    with pytest.raises(UsageFault, match="furlong"):
        parse_length("5", "furlong")


def test_iso_216_trimmed_sizes() -> None:
    """ISO 216, table of the A series (mm)."""
    published = {
        "A0": (841, 1189),
        "A1": (594, 841),
        "A2": (420, 594),
        "A3": (297, 420),
        "A4": (210, 297),
        "A5": (148, 210),
    }
    for name, size in published.items():
        assert parse_sheet(name) == size
        assert parse_sheet(name.lower()) == size


def test_asme_y14_1_sheet_sizes() -> None:
    """ASME Y14.1, decimal inch drawing sheet sizes."""
    published_in = {"A": (8.5, 11), "B": (11, 17), "C": (17, 22), "D": (22, 34), "E": (34, 44)}
    for letter, (width_in, height_in) in published_in.items():
        for text in (f"ANSI {letter}", f"ansi-{letter.lower()}", f"ANSI{letter}"):
            assert parse_sheet(text) == pytest.approx((width_in * INCH_MM, height_in * INCH_MM))


def test_office_sheets() -> None:
    assert parse_sheet("Letter") == pytest.approx((215.9, 279.4))
    assert parse_sheet("tabloid") == pytest.approx((279.4, 431.8))
    assert parse_sheet("Ledger") == pytest.approx((431.8, 279.4))


@pytest.mark.parametrize(
    ("text", "expected_mm"),
    [
        ("614x774mm", (614.0, 774.0)),
        ("614 x 774 mm", (614.0, 774.0)),
        ("614mm × 774mm", (614.0, 774.0)),
        ("61.4x77.4cm", (614.0, 774.0)),
        ("24x36in", (609.6, 914.4)),
        ('24" X 36 1/2"', (609.6, 927.1)),
        ("600mmx1 ft", (600.0, 304.8)),
        ("614x774", (614.0, 774.0)),
    ],
)
def test_sheets(text: str, expected_mm: tuple[float, float]) -> None:
    assert parse_sheet(text) == pytest.approx(expected_mm, rel=1e-12)


@pytest.mark.parametrize(
    "text", ["", "A9", "B", "x", "614x", "x774mm", "1x2x3", "0x5mm", "5x0", "ax"]
)
def test_no_sheet(text: str) -> None:
    with pytest.raises(UsageFault, match="write"):
        parse_sheet(text)


@pytest.mark.parametrize(
    ("length_mm", "denominator", "text"),
    [
        (600.075, 16, "23 5/8 in"),
        (1.5875, 16, "1/16 in"),
        (0.79375, 32, "1/32 in"),
        (0.79375, 16, "1/16 in"),
        (0.7, 16, "0 in"),
        (25.3, 16, "1 in"),
        (304.8, 32, "12 in"),
    ],
)
def test_inches_are_written_as_fractions(length_mm: float, denominator: int, text: str) -> None:
    assert format_length(length_mm, "in", denominator=denominator) == text


def test_other_writing() -> None:
    assert format_length(600.075) == "600.1 mm"
    assert format_length(-0.01) == "0.0 mm"
    assert inch_fraction(7.9375, whole=True) == "0 5/16"
    assert units.in_square_inches(645.16) == pytest.approx(1.0, rel=1e-15)
    with pytest.raises(UsageFault, match="16 or 32"):
        inch_fraction(5.0, 10)


@given(st.floats(0.0, 3000.0), st.sampled_from([16, 32]))
def test_fractions_read_back_within_half_a_part(length_mm: float, denominator: int) -> None:
    back_mm = parse_length(format_length(length_mm, "in", denominator=denominator))
    assert abs(back_mm - length_mm) <= INCH_MM / denominator / 2 + 1e-9


@given(st.floats(0.0, 3000.0))
def test_millimetres_read_back(length_mm: float) -> None:
    back_mm = parse_length(format_length(length_mm, "mm", decimals=3))
    assert math.isclose(back_mm, length_mm, abs_tol=0.0005001)


def test_a_comma_is_shown_as_a_point() -> None:
    with pytest.raises(UsageFault, match=r"use a point, not a comma: 1\.6mm"):
        parse_length("1,6mm")
