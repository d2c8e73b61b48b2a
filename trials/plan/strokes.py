"""Marks as single strokes to engrave: letters and digits as open lines, as a laser head can follow them."""

from __future__ import annotations

Point = tuple[float, float]
Stroke = tuple[Point, ...]

WIDTH, HEIGHT, APART = 4.0, 6.0, 2.0
"""Cell of a character and the space to the next, in units of the table below."""

_LETTERS = {
    "A": "00 03 26 43 40;02 42",
    "B": "00 06 36 45 44 33 03;33 42 41 30 00",
    "C": "45 36 16 05 01 10 30 41",
    "D": "00 06 26 44 42 20 00",
    "E": "46 06 00 40;03 33",
    "F": "46 06 00;03 33",
    "G": "45 36 16 05 01 10 30 41 43 23",
    "H": "00 06;40 46;03 43",
    "I": "16 36;26 20;10 30",
    "J": "16 46;36 31 20 10 01",
    "K": "00 06;46 03 40",
    "L": "06 00 40",
    "M": "00 06 23 46 40",
    "N": "00 06 40 46",
    "O": "10 01 05 16 36 45 41 30 10",
    "P": "00 06 36 45 44 33 03",
    "Q": "10 01 05 16 36 45 41 30 10;22 40",
    "R": "00 06 36 45 44 33 03;23 40",
    "S": "45 36 16 05 04 13 33 42 41 30 10 01",
    "T": "06 46;26 20",
    "U": "06 01 10 30 41 46",
    "V": "06 20 46",
    "W": "06 10 23 30 46",
    "X": "00 46;06 40",
    "Y": "06 23 46;23 20",
    "Z": "06 46 00 40",
    "0": "10 01 05 16 36 45 41 30 10;12 34",
    "1": "05 26 20;10 30",
    "2": "05 16 36 45 44 00 40",
    "3": "05 16 36 45 44 33 42 41 30 10 01;13 33",
    "4": "30 36 02 42",
    "5": "46 06 03 33 42 41 30 10 01",
    "6": "36 16 05 01 10 30 41 42 33 03",
    "7": "06 46 20",
    "8": "13 04 05 16 36 45 44 33 13 02 01 10 30 41 42 33",
    "9": "10 30 41 45 36 16 05 04 13 43",
    "-": "03 43",
}


def known(mark: str) -> bool:
    """Whether every character of a mark can be drawn."""
    return all(character in _LETTERS for character in mark)


def strokes(mark: str, middle: Point, height: float) -> tuple[Stroke, ...]:
    """Open lines that write a mark of `height` mm around its middle; every character must be `known`."""
    scale = height / HEIGHT
    wide = len(mark) * (WIDTH + APART) - APART
    x0, y0 = middle[0] - scale * wide / 2.0, middle[1] - height / 2.0
    found: list[Stroke] = []
    for place, character in enumerate(mark):
        left = x0 + scale * place * (WIDTH + APART)
        for line in _LETTERS[character].split(";"):
            found.append(tuple((left + scale * int(p[0]), y0 + scale * int(p[1])) for p in line.split()))
    return tuple(found)
