"""A fit that shows itself in a notebook: answer, a line per nozzle type, the chart of the first page, tables."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, fields
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from trials.decide.results import Study
from trials.steps.fit import evidence
from trials.steps.load import load

if TYPE_CHECKING:
    from trials.report.extras import VerdictExtras
    from trials.trial import Trial

TABLES = ("means", "comparisons", "pairs", "terms", "spread")
"""Parts of each response that become tables, with the response in the first column."""


class Fitted(Study):
    """A study of a trial folder for a notebook: every field of a `Study`, tables as pandas, and a face in HTML."""

    _trial: Trial
    _extras: VerdictExtras

    @property
    def tables(self) -> Mapping[str, pd.DataFrame]:
        """The parts of `TABLES` over all responses and `chances`, each one plain table."""
        found = {
            name: table_of([(result.response, row) for result in self.results for row in getattr(result, name)])
            for name in TABLES
        }
        return found | {"chances": table_of([("", row) for row in self.chances]).drop(columns="response")}

    def _repr_html_(self) -> str:
        """The answer, the table of nozzle types and the chart, in this order."""
        from trials.report.first_page import nozzle_table
        from trials.report.gallery import study_gallery
        from trials.words.study import answer_sentence

        page = nozzle_table(self, self._trial, self._extras.graded)
        bars = page["nozzle_bars"]
        rows = [
            [row["type"], *([row["fails_words"]] if bars else []), *row["cells"], row["answer"]]
            for row in page["nozzle_rows"]
        ]
        made = study_gallery(self, self._trial, self._extras)
        primary = next((f"edges-{r.response}" for r in self.results if r.primary and r.means), "ladder")
        picture = made[primary]() if primary in made else {"svg": "", "alt": ""}
        parts = [
            f"<h3>{escape(self.title)}</h3>",
            f"<p><b>{escape(answer_sentence(self))}</b></p>",
            _html(page["nozzle_head"], rows),
        ]
        drawn = picture["svg"][picture["svg"].find("<svg") :] if picture["svg"] else ""
        return "\n".join([*parts, f'<div role="img" aria-label="{escape(picture["alt"])}">{drawn}</div>'])


def fit(folder: Path | str) -> Fitted:
    """Study a trial folder; as `trials.steps.fit`, with tables and a face for notebooks.

    Raises
    ------
    InputError
        If no plan is frozen or no readings are recorded yet.
    """
    from trials.decide.study import study
    from trials.steps.verdict_facts import verdict_extras

    records = load(folder)
    found = evidence(records)
    result = study(records.trial, found)
    shown = Fitted(**{field.name: getattr(result, field.name) for field in fields(result)})
    object.__setattr__(shown, "_trial", records.trial)
    object.__setattr__(shown, "_extras", verdict_extras(records, found))
    return shown


def table_of(rows: Iterable[tuple[str, Any]]) -> pd.DataFrame:
    """Results as one plain table: the response first, places and findings as words.

    >>> from trials.decide.results import Spread
    >>> table_of([("roughness", Spread("coupon", 0.1, 0.4))]).to_dict("records")
    [{'response': 'roughness', 'source': 'coupon', 'sd': 0.1, 'share': 0.4}]
    """
    return pd.DataFrame([{"response": response, **_cells(row)} for response, row in rows])


def _cells(row: Any) -> dict[str, Any]:
    """Fields of a result that fit in a cell; a place in words."""
    from trials.findings import Place
    from trials.words.settings import place_words

    found: dict[str, Any] = {}
    for field in fields(row):
        value = getattr(row, field.name)
        if isinstance(value, Place):
            found[field.name] = place_words(value)
        elif field.name not in ("response", "notes", "rests_on", "parts"):
            found[field.name] = asdict(value) if hasattr(value, "__dataclass_fields__") else value
    return found


def _html(heads: list[str], rows: list[list[str]]) -> str:
    """A plain table."""
    head = "".join(f"<th>{escape(name)}</th>" for name in heads)
    body = "".join(f"<tr>{''.join(f'<td>{escape(str(cell))}</td>' for cell in row)}</tr>" for row in rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
