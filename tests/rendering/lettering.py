"""Handwriting as pen strokes: single-line letters drawn by hand, slanted and unsteady."""

from __future__ import annotations

import numpy as np

from tests.rendering.geometry import Array, smooth
from tests.rendering.sheet import Rng

# Strokes of each letter, in hundredths of its height: x,y from the lower left of its cell. Points
# are joined smoothly; a new stroke begins after each slash.
_LETTERS = {
    "0": "30,100 5,70 8,20 30,0 52,25 50,75 30,100",
    "1": "10,75 30,100 / 30,100 28,0",
    "2": "5,75 25,100 50,80 35,40 5,2 / 5,2 55,3",
    "3": "8,90 35,100 48,78 22,55 52,30 30,0 5,10",
    "4": "40,100 5,35 / 5,35 58,35 / 42,65 40,-2",
    "5": "50,100 12,98 / 12,98 10,55 / 10,55 40,60 52,30 30,0 5,8",
    "6": "45,100 12,60 8,20 30,0 50,20 35,48 10,30",
    "7": "5,100 55,98 / 55,98 30,50 20,0",
    "8": "30,52 8,78 30,100 50,78 30,52 5,22 30,0 55,22 30,52",
    "9": "50,75 30,55 10,75 30,100 50,78 45,30 30,0",
    "a": "50,50 20,50 8,20 25,0 48,25 50,50 / 50,50 48,12 60,2",
    "b": "12,100 10,5 / 10,30 35,50 50,25 30,0 10,8",
    "c": "50,42 28,52 8,25 28,0 52,10",
    "d": "48,45 20,50 8,20 28,0 48,25 / 50,100 48,2",
    "e": "8,28 48,32 30,52 8,25 28,0 52,10",
    "f": "50,95 30,95 25,50 22,-10 / 5,50 45,52",
    "g": "48,45 20,50 10,22 30,5 48,40 45,-20 20,-35 5,-20",
    "h": "12,100 10,0 / 10,30 30,50 45,35 48,0",
    "i": "30,50 28,10 40,0 / 31,72 33,76",
    "k": "12,100 10,0 / 45,50 12,25 / 20,30 50,0",
    "l": "25,100 22,20 40,0",
    "m": "5,50 5,0 / 5,30 20,50 28,30 28,0 / 28,30 45,50 52,30 55,0",
    "n": "10,50 10,0 / 10,30 30,50 45,32 48,0",
    "o": "30,52 8,25 30,0 52,25 30,52",
    "p": "10,50 8,-40 / 10,35 35,50 50,25 30,0 10,10",
    "r": "12,50 10,0 / 10,30 25,50 48,45",
    "s": "48,45 25,52 12,38 42,18 28,0 6,6",
    "t": "28,90 25,15 42,2 / 8,60 48,62",
    "u": "10,50 10,15 28,0 46,20 / 48,50 48,0",
    "w": "5,50 15,0 30,35 / 30,35 42,0 56,50",
    "y": "10,50 15,20 35,15 / 50,50 35,-10 10,-35",
}

NOTES = (
    "n4 3b",
    "inside",
    "top",
    "s2 1a",
    "north side",
    "from inside",
    "panel 3",
    "12 oct",
    "light b",
)


def written(
    text: str, at: tuple[float, float], height_mm: float, turn_deg: float, rng: Rng
) -> list[Array]:
    """Return the pen strokes of a line of writing that starts at a place.

    The hand has one slant and one slope for a line, and every letter is a little different.
    """
    slant, drift, x = rng.normal(0.2, 0.12), rng.normal(0, 0.03), 0.0
    a = np.radians(turn_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    strokes = []
    for letter in text:
        size = height_mm * rng.uniform(0.88, 1.1)
        for stroke in _strokes(letter):
            p = stroke + rng.normal(0, 0.025, stroke.shape)
            p = (p + np.array([0.0, rng.normal(0, 0.02)])) * size
            p[:, 0] += slant * p[:, 1] + x
            p[:, 1] += drift * p[:, 0]
            strokes.append(smooth(p) @ turn + np.array(at))
        x += height_mm * (0.62 + rng.normal(0, 0.03)) * (0.8 if letter in "il1 " else 1.0)
    return strokes


def _strokes(letter: str) -> list[Array]:
    return [
        np.array([[float(v) for v in point.split(",")] for point in stroke.split()]) / 100
        for stroke in _LETTERS.get(letter, "").split("/")
        if stroke
    ]
