"""Nozzle types on paper without underscores: every value that is such a name is exchanged before it is put in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import TypeVar, cast

import pandas as pd
from pydantic import BaseModel

from trials.trial import Trial

T = TypeVar("T")


def spaced_names(trial: Trial) -> dict[str, str]:
    """Types with an underscore in their name, and the name with spaces; not where another type has that already.

    Alike names of pieces or coupons are left alone, since they stand in other places.
    """
    known = set(trial.types)
    spaced = {name: name.replace("_", " ") for name in known if "_" in name}
    return {name: new for name, new in spaced.items() if new not in known and list(spaced.values()).count(new) == 1}


def spaced(value: T, names: Mapping[str, str]) -> T:
    """A result, a trial, a table or any part of one with its types so named."""
    return cast("T", _spaced(value, names)) if names else value


def _spaced(value: object, names: Mapping[str, str]) -> object:
    if type(value) is str:
        return names.get(value, value)
    if isinstance(value, pd.DataFrame):
        worded = [column for column in ("nozzle", "reasons") if column in value]
        cells = {name: pd.Series([_spaced(cell, names) for cell in value[name]], value.index) for name in worded}
        return value.assign(**cells)
    if isinstance(value, tuple | list):
        return type(value)([_spaced(part, names) for part in value])
    if isinstance(value, Mapping):
        return {_spaced(key, names): _spaced(part, names) for key, part in value.items()}
    if isinstance(value, BaseModel):
        parts = {name: _spaced(part, names) for name, part in value}
        return value.model_copy(update=parts)
    if is_dataclass(value) and not isinstance(value, type):
        own = {part.name: getattr(value, part.name) for part in fields(value) if part.init}
        return replace(value, **{name: new for name, part in own.items() if (new := _spaced(part, names)) is not part})
    return value
