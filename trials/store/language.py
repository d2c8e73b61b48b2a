"""The language of the papers of a trial, from a catalogue file, and the units in which they are printed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from functools import cache
from gettext import c2py
from pathlib import Path

from trials.errors import InputError
from trials.trial import Trial
from trials.words import columns, language
from trials.words.language import ENGLISH, Language, speaking
from trials.words.system import System, showing

CATALOGUES = Path(language.__file__).parent / "catalogues"


def languages() -> tuple[str, ...]:
    """Languages that papers can be printed in."""
    return ("en", *sorted(path.stem for path in CATALOGUES.glob("*.po")))


@cache
def language_named(name: str) -> Language:
    """The language of two letters, read from its catalogue (gettext) with the plurals and decimal sign of its locale.

    Raises
    ------
    InputError
        If there is no such catalogue.
    """
    if name == ENGLISH.name:
        return ENGLISH
    path = CATALOGUES / f"{name}.po"
    if not path.is_file():
        do = "Choose one of these."
        raise InputError("no such language", column="trial.language", found=name, allowed=", ".join(languages()), do=do)
    from babel.messages.pofile import read_po
    from babel.numbers import get_decimal_symbol

    with path.open("rb") as file:
        catalogue = read_po(file, locale=name)
    one = {str(m.id): str(m.string) for m in catalogue if m.id and m.string and not m.pluralizable}
    many = {m.id[0]: tuple(m.string or ()) for m in catalogue if m.pluralizable and all(m.string or ("",))}
    plural = c2py(catalogue.plural_expr)

    def several(single: str, more: str, n: int) -> str:
        forms = many.get(single)
        return forms[plural(n)] if forms else (single if n == 1 else more)

    return Language(name, lambda template: one.get(template, template), several, get_decimal_symbol(name))


SIDES = ("left", "right", "near", "far")
KEPT = frozenset(
    (
        *SIDES,
        *("yes", "no", "cut", "not_severed", "aborted", "scrapped", "not_cut"),
        *("measure_order", "coupon", "reading", "repeat", "side", "rz5_um", "u_mm", "dross_grade", "dross_height_mm"),
        *("kerf_mm", "drag_mm", "standoff_measured_mm", "inspector", "instrument", "cutoff_mm", "depth_mm", "note"),
        *("measured_on", "ended", "range of u", "range of Rz5", "cut_order", "mount", "sheet", "outcome", "cut_at"),
        *("changed_setting", "order", "nozzle", "specimen", "fitted_at", "centring_checked", "height_calibrated"),
        *("again_because", "not measurable"),
        *("pierces_before", "window_changed", "heat_lot", "surface", "gas_purity"),
        *("cuts", "mounts", "sheets", "readings", "(plan)"),
    )
)
"""Words of tables, and names of sheets, that are kept in English and may be typed in any language of the papers."""


FORMERLY = {"Höhe kalibriert": "height_calibrated", "Platz": "order"}
"""Words that workbooks of earlier versions bear."""


def kept_word(typed: str) -> str:
    """The kept word that a typed one stands for in some language; the typed one where it stands for none."""
    return _kept_words().get(" ".join(typed.split()).casefold(), typed)


@cache
def _kept_words() -> dict[str, str]:
    found = {word.casefold(): kept for word, kept in FORMERLY.items()}
    for name in languages()[1:]:
        one = language_named(name).one
        found |= {one(kept).casefold(): kept for kept in sorted(KEPT)}
    return found


def is_planned(header: str) -> bool:
    """Whether a column only repeats the plan, which its header says in some language."""
    return any(kept_word(part) == "(plan)" for part in header.split())


def printed_columns(names: Iterable[str]) -> dict[str, str]:
    """Each column under its kept name and under the name that it has on papers of any language."""
    kept = list(names)
    found = {name: name for name in kept}
    for each in languages()[1:]:
        with speaking(language_named(each)):
            found |= {columns.printed(name): name for name in kept if columns.printed(name) not in found}
    return found


@contextmanager
def papers_of(trial: Trial) -> Iterator[None]:
    """Everything said inside comes out in the language and the units of the trial's papers."""
    with speaking(language_named(trial.trial.language)), units_of(trial):
        yield


def units_of(trial: Trial) -> AbstractContextManager[None]:
    """Every figure said inside comes out in the units of the trial's papers and screens."""
    return showing(System(trial.trial.units))
