"""The question of a trial as its file states it, read before any library of tables and databases is loaded."""

from __future__ import annotations

from pathlib import Path

from trials.errors import InputError
from trials.toml_text import MOST_TEXT
from trials.trial import Trial, parse

TOML = "trial.toml"
DATABASE = "trial.db"


def read_question(path: Path) -> tuple[Trial, str]:
    """The trial of a `trial.toml`, checked, and its text.

    Raises
    ------
    InputError
        If the file cannot be read or used.
    """
    try:
        with path.open(encoding="utf-8-sig") as stream:
            text = stream.read(MOST_TEXT + 1)  # `parse` refuses what is longer
    except (UnicodeDecodeError, OSError) as error:
        raise InputError(f"cannot be read ({error})", file=str(path), do="Save it as UTF-8 text.") from None
    return parse(text, str(path)), text
