"""The printed targets, rendered by another library and found by OpenCV's own detector."""

from __future__ import annotations

import cv2
import numpy as np
import pymupdf

from rubbing2pattern.documents.targets import CHECK_MM, IDS, SIDE_MM, targets_drawing, targets_pdf

DPI = 254
PX_PER_MM = DPI / 25.4


def page() -> np.ndarray:
    with pymupdf.open(stream=targets_pdf(), filetype="pdf") as document:
        assert document.page_count == 1
        pixmap = document[0].get_pixmap(dpi=DPI, colorspace=pymupdf.csGRAY)
        return np.frombuffer(pixmap.samples, np.uint8).reshape(pixmap.height, pixmap.width).copy()


def test_every_target_is_found_square_and_of_its_size() -> None:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(page())
    assert sorted(ids.ravel().tolist()) == list(IDS)
    for four in corners:
        sides_mm = np.hypot(*np.diff(four[0], axis=0, append=four[0][:1]).T) / PX_PER_MM
        np.testing.assert_allclose(sides_mm, SIDE_MM, atol=0.25)


def test_the_ticks_point_at_the_centres() -> None:
    """Opposite ticks lie on lines through the centre of the cells."""
    grey = page()
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, _, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(grey)
    for four in corners:
        x, y = four[0].mean(axis=0)
        out = int((SIDE_MM / 2 + 8.5) * PX_PER_MM)
        across = grey[round(y) - 20 : round(y) + 21, [int(x) - out, int(x) + out]]
        along = grey[[int(y) - out, int(y) + out], round(x) - 20 : round(x) + 21].T
        for strip in (*across.T, *along.T):
            ink = 255.0 - strip
            assert ink.sum() > 0
            assert abs(float(ink @ np.arange(41) / ink.sum()) - 20.0) <= 2.0  # 0.2 mm


def test_the_check_lengths_are_true_both_ways() -> None:
    with pymupdf.open(stream=targets_pdf(), filetype="pdf") as document:
        lines = [
            (item[1], item[2])
            for path in document[0].get_drawings()
            for item in path["items"]
            if item[0] == "l"
        ]
    mm = 25.4 / 72.0
    across = [abs(b.x - a.x) * mm for a, b in lines if abs(b.y - a.y) < 1e-3]
    upright = [abs(b.y - a.y) * mm for a, b in lines if abs(b.x - a.x) < 1e-3]
    for lengths in (across, upright):
        assert any(abs(length - CHECK_MM) < 0.01 for length in lengths)


def test_the_page_prints_on_a4_and_letter_at_true_size() -> None:
    drawing = targets_drawing()
    # ISO 216 A4 is 210 mm wide; ASME Y14.1 size A (Letter) is 11 in = 279.4 mm high.
    assert drawing.width_mm <= 210.0
    assert drawing.height_mm <= 279.4
    with pymupdf.open(stream=targets_pdf(), filetype="pdf") as document:
        box = document[0].rect
        words = document[0].get_text("words")
    assert min(w[0] for w in words) > 10 * 72 / 25.4
    assert max(w[2] for w in words) < box.width - 10 * 72 / 25.4
    assert max(w[3] for w in words) < box.height - 10 * 72 / 25.4


def test_the_bytes_never_change() -> None:
    assert targets_pdf() == targets_pdf()
