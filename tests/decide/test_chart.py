"""What to stock: the exact shortest lists, the choice among them, the cost of leaving one out."""

from datetime import date
from itertools import chain, combinations

import numpy as np
import pytest

from trials.decide.chart import ChartKind, Job, Said, Seen, make_chart, shortest_lists
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
