"""What to stock: the exact shortest lists, the choice among them, the cost of leaving one out."""

from datetime import date
from itertools import chain, combinations

import numpy as np
import pytest

from trials.decide.chart import ChartKind, Job, Mark, Said, Seen, make_chart, shortest_lists
from trials.infer.answer import Answer

B, S, OPEN, W = Answer.BETTER, Answer.SAME, Answer.NOT_SETTLED, Answer.WORSE


def seen(thickness, words, today="p", day=1, prices=None, **other):
    said = {
        name: (Said("roughness", "Rz5", "um", answer, times_worthwhile=size),) for name, (answer, size) in words.items()
    }
    forms = dict.fromkeys((today, *words), ("cylindrical", "single", None, None, None, 2.0))
    return Seen(
        f"t{thickness:g}-{day}", "t", Job("S235", thickness, "oxygen"), "M1", date(2026, 1, day), today, forms,
        prices or {}, said, **other,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(6))
def test_lists_are_the_shortest_by_brute_force(seed):
    rng = np.random.default_rng(seed)
    types = [f"n{i}" for i in range(7)]
    able = [{name for name in types if rng.random() < 0.35} | {types[rng.integers(7)]} for _ in range(6)]
    every = chain.from_iterable(combinations(types, k) for k in range(8))
    covers = [names for names in every if all(job & set(names) for job in able)]
    least = min(map(len, covers))
    assert set(shortest_lists(able, types)) == {names for names in covers if len(names) == least}


def test_no_list_where_a_job_has_none():
    assert shortest_lists([{"a"}, set()], ["a"]) == () and shortest_lists([], ["a"]) == ((),)


def test_among_equals_most_jobs_on_a_better_type_then_the_lowest_price():
    trials = [seen(4, {"d": (S, 0.1), "e": (B, 2.0)}, today="p"), seen(6, {"d": (S, 0.1), "e": (S, 0.1)}, today="q")]
    chart = make_chart(trials)
    assert chart.stock.nozzles == ("e",) and chart.stock.others == (("d",),)
    cheap = [
        seen(4, {"d": (S, 0.1), "e": (S, 0.1)}, prices={"d": 30.0, "e": 12.0}),
        seen(6, {"d": (S, 0), "e": (S, 0)}, today="q"),
    ]
    assert make_chart(cheap).stock.nozzles == ("e",) and make_chart(cheap).stock.price == 12.0


def test_leaving_one_out_costs_what_it_served():
    trials = [
        seen(4, {"d": (B, 2.0)}, today="p"),
        seen(6, {"d": (W, 1.0)}, today="p"),
        seen(8, {"p": (OPEN, 0.2)}, today="d"),
    ]
    stock = make_chart(trials).stock
    assert stock.nozzles == ("p", "d") and {job.thickness_mm: name for job, name in stock.best} == {
        4: "d",
        6: "p",
        8: "d",
    }
    losses = {each.nozzle: [(one.job.thickness_mm, one.now) for one in each.losses] for each in stock.left_out}
    assert losses == {"p": [(6, "")], "d": [(4, "p"), (8, "")]}


def test_open_or_worse_in_any_decisive_response_does_not_serve():
    two = (Said("roughness", "Rz5", "um", B), Said("squareness", "u", "mm", OPEN))
    one = seen(4, {"d": (B, 1.0)})
    both = Seen(**{**vars(one), "said": {"d": two}})
    assert make_chart([both]).stock.nozzles == ("p",)


def test_the_newest_word_on_a_job_counts():
    trials = [seen(4, {"d": (B, 2.0)}, day=1), seen(4, {"d": (W, 2.0)}, day=9)]
    chart = make_chart(trials)
    assert [row.seen.day.day for row in chart.rows] == [9, 1] and chart.stock.nozzles == ("p",)
    assert ChartKind.TRIALS_DISAGREE in {one.kind for one in chart.said}


def test_spelling_of_a_job_does_not_part_it():
    one, two = seen(4, {"d": (B, 2.0)}), seen(4, {"d": (B, 2.0)}, day=2)
    other = Seen(**{**vars(two), "job": Job("s 235", 4.0, "Oxygen")})
    assert len(make_chart([one, other]).stock.best) == 1


def changed(trial, **fields):
    return Seen(**{**vars(trial), **fields})


def facts(chart, kind):
    return [(dict(one.facts), one.about) for one in chart.said if one.kind == kind]


def test_rows_come_thinnest_first_and_the_newest_of_a_job_first():
    unknown = changed(seen(9, {"d": (S, 0.1)}), job=Job("S235", None, "oxygen"))
    trials = [seen(8, {"d": (S, 0.1)}), seen(4, {"d": (S, 0.1)}, day=1), seen(4, {"d": (S, 0.1)}, day=7), unknown]
    chart = make_chart(trials, without=["empty"])
    assert [(row.seen.job.thickness_mm, row.seen.day.day) for row in chart.rows] == [(None, 1), (4, 7), (4, 1), (8, 1)]
    assert facts(chart, ChartKind.NO_VERDICT)[0][0] == {"folder": "empty"}
    assert len(facts(chart, ChartKind.NOT_POOLED)) == 1 and not facts(make_chart(trials[:2]), ChartKind.NOT_POOLED)


def test_the_chart_is_for_the_machine_of_the_newest_trial_and_marks_the_others():
    old, new = changed(seen(4, {"d": (S, 0.1)}, day=1), machine="M 1"), seen(6, {"d": (S, 0.1)}, day=2)
    none = changed(seen(8, {"d": (S, 0.1)}, day=3), machine="")
    other = changed(old, machine="M2", exploratory=True, before_calibration=True)
    chart = make_chart([other, new, none])
    assert chart.machine == "M1" and [row.marks for row in chart.rows] == [tuple(Mark), (), ()]
    ((found, _),) = facts(chart, ChartKind.RESTS_ON_MARKED)
    job = {"material": "S235", "thickness_mm": 4, "gas": "oxygen"}
    assert found == {**job, "folder": other.folder, "marks": tuple(mark.value for mark in Mark)}
    assert make_chart([old, new]).rows[0].marks == ()  # another spelling of the same machine
    assert make_chart([old, new], machine="M9").rows[1].marks == (Mark.ANOTHER_MACHINE,)
    # a newer trial of the job without a mark takes the care away
    assert not facts(make_chart([other, seen(4, {"d": (S, 0.1)}, day=9)]), ChartKind.RESTS_ON_MARKED)


def test_names_and_forms_that_may_be_one_type_or_two():
    trials = [seen(4, {"Double 2": (S, 0.1)}), seen(6, {"double2": (S, 0.1)}, today="p")]
    ((_, about),) = facts(make_chart(trials), ChartKind.SPELLED_TWICE)
    assert about.nozzles == ("Double 2", "double2") and not facts(make_chart(trials), ChartKind.TWO_FORMS)
    form = ("cylindrical", "double", None, None, None, 2.0)
    double = changed(trials[0], forms={**trials[0].forms, "p": form})
    ((_, about),) = facts(make_chart([double, trials[1]]), ChartKind.TWO_FORMS)
    assert about.nozzle == "p"
    unsaid = changed(trials[0], forms={**trials[0].forms, "p": (None,) * 6})
    assert not facts(make_chart([unsaid, trials[1]]), ChartKind.TWO_FORMS)


def test_trials_that_disagree_name_the_newest():
    trials = [seen(4, {"d": (B, 2.0), "e": (S, 0.1)}, day=1), seen(4, {"d": (W, 2.0), "e": (B, 2.0)}, day=9)]
    ((found, about),) = facts(make_chart(trials), ChartKind.TRIALS_DISAGREE)
    assert (found, about.nozzle) == ({"folder": trials[1].folder}, "d")


def test_a_price_of_the_list_needs_every_price_in_one_currency():
    two = [
        seen(4, {"d": (B, 2.0)}, prices={"d": 5.0, "p": 3.0}, currency="EUR"),
        seen(6, {}, prices={}, currency="EUR"),
    ]
    both = [changed(two[0], said={}, day=date(2026, 1, 1)), changed(two[0], today="d", said={}, job=Job("Cu", 4, "N2"))]
    stock = make_chart(both).stock
    assert (stock.nozzles, stock.price, stock.currency) == (("p", "d"), 8.0, "EUR")
    unpriced = make_chart([changed(one, prices={"p": 3.0, "d": None}) for one in both]).stock
    assert (unpriced.price, unpriced.currency) == (None, "EUR")
    mixed = make_chart([both[0], changed(both[1], currency="CHF")]).stock
    assert (mixed.price, mixed.currency) == (None, "")
    newer = make_chart([both[0], changed(both[1], prices={"d": 6.0}, day=date(2026, 1, 5))]).stock
    assert newer.price == 9.0  # the newest price of d
    assert make_chart([]).stock is None


def test_too_many_lists_are_not_looked_through(monkeypatch):
    able, types = [{"a", "b"}, {"c", "d"}], ["a", "b", "c", "d"]
    monkeypatch.setattr("trials.decide.chart.MOST_LISTS", 6)  # four types, two of them: six lists
    assert len(shortest_lists(able, types)) == 4
    monkeypatch.setattr("trials.decide.chart.MOST_LISTS", 5)
    assert shortest_lists(able, types) == ()
