"""All templates that stand in the code, as a catalogue needs them; by hand: brings a catalogue up to date.

`python tests/words/templates.py de` adds templates that the catalogue lacks, without a translation, and takes out those
that stand nowhere any more.
"""

import ast
import json
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

import trials

HOME = Path(trials.__file__).parent
PAPERS = ("words", "report", "report/figures", "store/workbooks")
ENGLISH_ONLY = frozenset(
    (
        *("lives", "plan_chances", "settling", "traces", "plan_paper", "life_paper", "limits"),
        *("life_page", "life_money", "life_told", "life_first", "ratios"),
        *(
            "bench",
            "inspectors",
            "planning",
            "card",
            "chart",
            "doubts",
            "chart_page",
            "card_page",
            "proof",
            "dictionary",
        ),
    )
)
"""Modules whose words stand only on screens and on papers that are printed in English."""
IN_PART = {"plan_chances": ("needed_briefly", "_needed", "_both", "_specimens", "_unequal", "_mounts")}
"""Functions of modules for screens whose sentences come onto a verdict all the same."""
ONE, MANY = ("text", "word", "_line", "_alone", "_of_item", "_outside"), ("plural", "_many")


def modules() -> list[Path]:
    """Modules whose templates come onto a paper that has languages."""
    found = [path for room in PAPERS for path in sorted((HOME / room).glob("*.py"))]
    return [path for path in found if path.stem not in ENGLISH_ONLY or path.stem in IN_PART]


def templates(paths: list[Path]) -> tuple[dict[str, str], dict[tuple[str, str], str]]:
    """Templates alone and pairs by number, each with the module where it stands first."""
    alone: dict[str, str] = {}
    pairs: dict[tuple[str, str], str] = {}
    for path in paths:
        for call in _calls(path):
            if not isinstance(call, ast.Call) or not isinstance(call.func, ast.Name):
                continue
            first, *_ = (*call.args, None)
            if not isinstance(first, ast.Constant):
                continue
            said = [a.value for a in call.args[:2] if isinstance(a, ast.Constant) and isinstance(a.value, str)]
            if call.func.id in MANY and len(said) == 2:
                pairs.setdefault((said[0], said[1]), path.stem)
            elif call.func.id in ONE and said and said[0]:
                alone.setdefault(said[0], path.stem)
    return alone, pairs


def _calls(path: Path) -> list[ast.AST]:
    """Everything inside a module, or inside those of its functions that count."""
    whole = ast.parse(path.read_text(encoding="utf-8"))
    if path.stem not in IN_PART:
        return list(ast.walk(whole))
    own = [part for part in whole.body if isinstance(part, ast.FunctionDef) and part.name in IN_PART[path.stem]]
    assert len(own) == len(IN_PART[path.stem]), f"a function of {path.name} was renamed"
    return [inside for part in own for inside in ast.walk(part)]


def catalogue(path: Path, locale: str) -> Catalog:
    """A catalogue as it stands in its file; an empty one where there is no file."""
    if not path.is_file():
        return Catalog(locale=locale, project="nozzle-trials", charset="utf-8", fuzzy=False)
    with path.open("rb") as file:
        return read_po(file, locale=locale)


def left_over(found: Catalog) -> list[str | tuple[str, ...]]:
    """Messages that stand nowhere in the package any more: no text of its code, its data or its ready-made trials."""
    trees = [ast.parse(path.read_text(encoding="utf-8")) for path in HOME.rglob("*.py")]
    known = {part.value for tree in trees for part in ast.walk(tree) if isinstance(part, ast.Constant)}
    known |= set(_texts(json.loads((HOME / "data" / "standards.json").read_text(encoding="utf-8"))))
    for path in (HOME.parent / "designs").glob("*.toml"):
        known |= {name.replace("_", " ") for name in tomllib.loads(path.read_text(encoding="utf-8")).get("factors", {})}
    each = [(message.id, message.id if isinstance(message.id, tuple) else (message.id,)) for message in found]
    return [message for message, forms in each if not known.issuperset(forms)]


def _texts(data: object) -> Iterator[str]:
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict | list):
        for part in data.values() if isinstance(data, dict) else data:
            yield from _texts(part)


def brought_up_to_date(found: Catalog) -> Catalog:
    """The catalogue with every template of the code, those without a translation empty, and nothing left over."""
    for message in left_over(found):
        found.delete(message)
    alone, pairs = templates(modules())
    for template in alone:
        if template not in found:
            found.add(template, "")
    for pair in pairs:
        if pair not in found:
            found.add(pair, ("", ""))
    return found


if __name__ == "__main__":
    place = HOME / "words" / "catalogues" / f"{sys.argv[1]}.po"
    made = brought_up_to_date(catalogue(place, sys.argv[1]))
    with place.open("wb") as out:
        write_po(out, made, width=120, omit_header=False, sort_output=True)
