"""From plain data to a tagged PDF: the one place that calls the typesetter.

User text reaches a template only as JSON data and is set as text, never read as markup. Only the fonts inside the
typesetter are used, so the same data give the same bytes on any machine.
"""

from __future__ import annotations

import json
import re
import unicodedata
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from typing import Any, Literal

from trials.words.language import ENGLISH, current
from trials.words.page_frame import frame_words

HERE = Path(__file__).parent
LONG_WORD, LONGEST_WORD = 18, 40
Paper = Literal["A4", "Letter"]
_PAPERS: dict[Paper, str] = {"A4": "a4", "Letter": "us-letter"}
_NATURAL = re.compile(r"[(„]?[^\W\d_][^\W\d_A-ZÄÖÜ]*(-[^\W\d_][^\W\d_A-ZÄÖÜ]*)*[-.,;:)“]*")
_JOINERS = "\u200c\u200d"
_PLAIN = re.compile(r"[\x20-\x7e\xa0-\xac\xae-\u017f\u0391-\u03c9\u0410-\u044f–—‘’“”…−×≤≥±√µμ°]*")
_FONTS = ("Libertinus Serif", "New Computer Modern", "DejaVu Sans Mono")


def pdf(template: str, data: dict[str, Any], made_on: date, invented: bool = False, paper: Paper = "A4") -> bytes:
    """PDF/UA of `template` (a file beside this one) with `data`; dated `made_on`; same input, same bytes.

    invented: whether a band on every page says that the data are invented; paper: what it is printed on.
    """
    import typst

    return typst.compile(
        HERE / template,
        root=HERE,
        ignore_system_fonts=True,
        sys_inputs=inputs(data, made_on, invented, paper),
        timestamp=datetime(made_on.year, made_on.month, made_on.day, tzinfo=UTC),
        pdf_standards="ua-1",
    )


def inputs(data: dict[str, Any], made_on: date, invented: bool = False, paper: Paper = "A4") -> dict[str, str]:
    """What the template is given: one JSON text, its strings made ready for paper."""
    ready = _ready(data | {"frame": frame_words(invented)})
    ready |= {"day": [made_on.year, made_on.month, made_on.day], "fonts": list(_FONTS), "paper": _PAPERS[paper]}
    return {"data": json.dumps(ready, ensure_ascii=False)}


def _ready(value: Any, key: str = "") -> Any:
    if isinstance(value, dict):
        return {name: _ready(item, name) for name, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_ready(item, key) for item in value]
    if not isinstance(value, str) or key == "svg":
        return value
    return _known(value) if key == "hash" else text(value)


_UNIT = re.compile(r"(?<=\d) (?=(?:%|°|[mµ]?m[²³]?|m/min|µ?in|bar|psi|kW|W|h|min|s)(?!\w))")


def text(raw: str) -> str:
    """Text as the paper can show it: one line, long words with places to break, unknown characters as code points.

    A unit stays with its number.
    """
    line = _UNIT.sub("\u00a0", _known(raw))
    line = re.sub(r"(?<![^\s(])-(?=\d)", "−", line)
    return re.sub(rf"[^\s\u00a0]{{{LONG_WORD + 1},}}", _breakable, line)


def _known(raw: str) -> str:
    line = re.sub(r"[^\S\u00a0]+", " ", raw).strip(" ")
    return line if _PLAIN.fullmatch(line) else "".join(map(_shown, line))


@cache
def _shown(character: str) -> str:
    """The character; nothing for a control or direction mark; its code point where no font has it."""
    kind = unicodedata.category(character)
    if kind in ("Cc", "Cf") and character not in _JOINERS:
        return ""
    if _PLAIN.fullmatch(character) or character in _JOINERS or (kind[0] != "C" and _has_glyph(character)):
        return character
    return f"[U+{ord(character):04X}]"


def _breakable(word: re.Match[str]) -> str:
    if current() is not ENGLISH and len(word[0]) <= LONGEST_WORD and _NATURAL.fullmatch(word[0]):
        return word[0]  # the typesetter breaks it by syllables
    return "\u200b".join(word[0][i : i + LONG_WORD - 4] for i in range(0, len(word[0]), LONG_WORD - 4))


def _has_glyph(character: str) -> bool:
    """Whether one of the typesetter's own fonts shows the character; its strict profile refuses one that none has."""
    import typst

    source = "#set document(title: [t])\n#set text(font: json(bytes(sys.inputs.f)))\n#sys.inputs.c"
    try:
        typst.compile(
            source.encode(),
            ignore_system_fonts=True,
            sys_inputs={"c": character, "f": json.dumps(_FONTS)},
            pdf_standards="ua-1",
        )
    except typst.TypstError:
        return False
    return True
