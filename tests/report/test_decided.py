"""Page 1 where costs are stated: gain, cost and turning points below the answer, a column of costs, still one page."""

import dataclasses
import json
from datetime import date

from report.test_paper import first_page_ends_at

from trials.decide.decision_result import (
    Assumed,
    CostAgainst,
    CostInput,
    FewerFail,
    Flip,
    Money,
    MoneyKind,
    Span,
    TypeCost,
)
from trials.findings import Finding
from trials.report.extras import VerdictExtras
from trials.report.verdict import verdict_data

NO_REWORK = Finding(MoneyKind.REWORK_NOT_COUNTED)
MADE_ON = date(2026, 1, 12)
LONG = "double wall with a rather long name of 44 le"


def with_money(study):
    place = study.results[-1].comparisons[0].settings
    types = tuple(
        TypeCost(row.nozzle, Span(2.0 + k / 10, 1.9, 3.0 + k), {"machine": 1.8}) for k, row in enumerate(study.nozzles)
    )
    flips = (Flip(CostInput.FAILING, 0.12, 0.39, 0.34), Flip(CostInput.SPEED, 1.1, 1.1, 0.9))
    against = tuple(
        CostAgainst(
            nozzle=row.nozzle,
            against=study.nozzles[0].nozzle,
            value=Span(k / 10, -0.4, 0.9),
            cheaper=0.5,
            per_year=Span(4000.0 * k, -16000.0, 36000.0),
            decides=CostInput.FAILING,
            decides_share=0.9,
            flips=flips,
            life_ratio=1.5,
        )
        for k, row in enumerate(study.nozzles)
        if k
    )
    said = (Finding(MoneyKind.LENS_NOT_COUNTED),)
    money = Money("EUR", place, types, against, (Assumed(CostInput.EDGE, 1.0),), "", said)
    fewer = tuple(FewerFail(row.nozzle, 39.0, 12.0, Span(27.0, -3.0, 52.0)) for row in study.nozzles[1:])
    return dataclasses.replace(study, money=money, fewer=fewer, currency="EUR")


def test_gain_cost_and_turning_points_stand_below_the_answer(study, trial, extras):
    data = verdict_data(with_money(study), trial, MADE_ON, extras)
    names = [name for name, _ in data["answer"]["decided"]]
    assert names == ["Gain", "Cost", "Money", "Breaks even"]  # fewer edges fail, but a metre costs more
    assert data["answer"]["at"].startswith("at pressure")
    assert "common practice" in data["answer"]["money_notes"] and "Lenses" in data["answer"]["money_notes"]
    column = data["nozzle_head"].index("A good metre, EUR") - (2 if data["nozzle_bars"] else 1)
    assert [row["cells"][column].split(" ")[0] for row in data["nozzle_rows"]] == ["2.00", "2.10", "2.20", "2.30"]
    assert not any("Price" in head for head in data["nozzle_head"])  # told in words beside what it pays back


def test_costs_without_rework_say_so_and_what_to_state_stands_on_later_pages(study, trial, extras):
    found = with_money(study)
    bare = dataclasses.replace(found, money=dataclasses.replace(found.money, said=(NO_REWORK,)))
    data = verdict_data(bare, trial, MADE_ON, extras)
    assert "A metre, EUR, without rework" in data["nozzle_head"]
    assert "rework_per_edge" not in json.dumps({**data, "sections": []})
    assert "rework_per_edge" in json.dumps(data["sections"])


def test_no_money_without_costs(study, trial, extras):
    data = verdict_data(study, trial, MADE_ON, extras)
    assert data["answer"]["money_notes"] == "" and [name for name, _ in data["answer"]["decided"]] == ["Cost"]
    assert "Price, EUR" in data["nozzle_head"]


def test_with_money_and_long_names_it_stays_one_page(study, trial):
    rows = tuple(
        dataclasses.replace(row, nozzle=f"{LONG}{k}" if k else row.nozzle) for k, row in enumerate(study.nozzles)
    )
    result = study.results[-1]
    named = dict(zip([row.nozzle for row in study.nozzles], [row.nozzle for row in rows], strict=True))
    comparisons = tuple(dataclasses.replace(c, nozzle=named[c.nozzle]) for c in result.comparisons)
    means = tuple(dataclasses.replace(m, nozzle=named[m.nozzle]) for m in result.means)
    result = dataclasses.replace(result, comparisons=comparisons, means=means, pairs=())
    found = with_money(dataclasses.replace(study, nozzles=rows, results=(result,), chances=()))
    data = verdict_data(found, trial, MADE_ON, VerdictExtras())
    assert first_page_ends_at(data) == 2
