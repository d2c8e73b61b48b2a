"""What a plan detects, settles and costs, as words: questions, patterns, chances, hours and material."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, cast

from trials.findings import Amount, Fact, Finding, PlaceKind
from trials.plan.assess.questions import Asks, Subject
from trials.plan.kinds import PlanKind
from trials.plan.power import Needed, Part, Pattern, Step
from trials.responses import Quantity, Scale
from trials.trial import Trial
from trials.words.language import plural, text
from trials.words.numbers import fixed, percent, plain, with_unit
from trials.words.plan import Say, amount, names_of, number_of, source_words, whole

if TYPE_CHECKING:
    from trials.plan.assess import Assessment, Detectable, Effort
    from trials.plan.assess.prediction_map import PredictionMap


def difference_words(quantity: Quantity, size: float) -> str:
    """A difference on the model's scale as people read it: `32.0 %` or `0.058 mm`."""
    if quantity.scale is Scale.LOG:
        return percent(math.expm1(size), 1)
    return with_unit(size, quantity.unit, 2)


def subject_words(subject: Subject) -> str:
    """What is asked: `nozzle types at today's settings`, `pressure`, `nozzle x pressure`."""
    if subject.asks is Asks.TYPES:
        return _types_at(subject.at)
    factor = (subject.factor or "").replace("_", " ")
    return factor if subject.asks is Asks.FACTOR else text("nozzle x {factor}", factor=factor)


def _types_at(at: Fact) -> str:
    if at == PlaceKind.TODAY:
        return text("nozzle types at today's settings")
    return text("nozzle types, averaged over the settings")


def pattern_words(subject: Subject, pattern: Pattern) -> str:
    """How the true differences lie, in words."""
    if subject.asks is Asks.CHANGE:
        return text("the effect of two types apart, that of the others half-way")
    if pattern is Pattern.END_TO_END:
        return text("lowest against highest level")
    levels = subject.asks is Asks.FACTOR
    return {
        Pattern.ONE_PAIR: text("one level against the other") if levels else text("one type against the other"),
        Pattern.LEAST_FAVOURABLE: text("two levels apart, the others half-way (least favourable)")
        if levels
        else text("two types apart, the others half-way (least favourable)"),
        Pattern.TYPICAL: text("half the levels at each end (typical)")
        if levels
        else text("half the types at each end (typical)"),
    }[pattern]


def df_words(line: Detectable) -> str:
    """Degrees of freedom of a test: `3 and 6.2`."""
    return text("{df} and {den_df}", df=line.df, den_df=degrees(line.den_df))


def degrees(den_df: float) -> str:
    """Degrees of freedom of a denominator, three digits at most: `6`, `23.1`."""
    return plain(float(f"{den_df:.3g}"))


def part_words(part: str) -> str:
    """What is varied along a curve."""
    return {
        Part.SPECIMENS: text("specimens"),
        Part.MOUNTS: text("mounts"),
        Part.COUPONS: text("coupons"),
        Part.READINGS: text("readings"),
        Part.SPREAD_OUT: text("specimens, same coupons"),
    }[Part(part)]


def counts_alt(response: str, hour: str) -> str:
    """What a plan detects against its counts; hour: how the next hour pays best."""
    return text(
        "Detectable difference in {response} against specimens, mounts, coupons and readings. {hour}",
        response=response,
        hour=hour,
    )


def counts_caption() -> str:
    """What a plan detects against its counts."""
    return text("One count varied at a time; least favourable pattern of nozzle means, 80 % chance.")


def prediction_alt(map_: PredictionMap, across: str, up: str, unit: str) -> str:
    """The map of the prediction error; across, up: the settings as printed."""
    return text(
        "Standard error of the predicted {response} of {nozzle} over {across} and {up}, {unit}.",
        response=map_.response,
        nozzle=map_.nozzle,
        across=across,
        up=up,
        unit=unit,
    )


def prediction_caption(trial: Trial, map_: PredictionMap, unit: str) -> str:
    """The map of the prediction error."""
    facts = {"response": map_.response, "nozzle": map_.nozzle, "unit": unit}
    held = [f"{name.replace('_', ' ')} {plain(v, trial.factors[name].unit)}" for name, v in map_.held.items()]
    if not held:
        return text(
            "Standard error of the typical {response} of {nozzle}, {unit}. Crosses: settings to be cut.", **facts
        )
    return text(
        "Standard error of the typical {response} of {nozzle}, {unit}, at {held}. Crosses: settings to be cut.",
        held=", ".join(held),
        **facts,
    )


def settled_words(name: str, needed: Needed) -> str:
    """Chance that an answer of one response ends right, and what would bring it to the asked one."""
    return text(
        "{response}: one type against today's ends right with a chance of {apart} if it truly differs by the "
        "worthwhile difference, of {alike} if it does not differ. {needed}",
        response=name,
        apart=percent(needed.chance_at_worthwhile),
        alike=percent(needed.chance_at_zero),
        needed=_needed(needed.finding()),
    )


def needed_briefly(f: Finding) -> str:
    """The nozzles that would settle it; of further mounts only where they are all there is."""
    if whole(f, "specimens") < 2 and f.facts["mounts_known"]:
        return _needed(f)
    specimens = _specimens_that_settle(f)
    return text(
        "For a chance of {chance} of a right answer: {specimens}.",
        chance=percent(number_of(f, "chance")),
        specimens=specimens,
    )


def _specimens_that_settle(f: Finding) -> str:
    counts = [cast("int | None", f.facts[key]) for key in _keys("specimens")]
    ratio = cast(float, f.facts.get("today", 1.0))
    return _specimens_of_both(counts, whole(f, "specimens"), whole(f, "most"), ratio)


def _needed(f: Finding) -> str:
    """The numbers that would settle it, or why no number does."""
    chance, most = percent(number_of(f, "chance")), whole(f, "most")
    mounts = _both([_mounts(cast("int | None", f.facts[key]), whole(f, "mounts"), most) for key in _keys("mounts")])
    if whole(f, "specimens") < 2 and f.facts["mounts_known"]:
        return text(
            "With one specimen per type no number of mounts of these specimens will do for the types; for these "
            "nozzles, for a chance of {chance} of a right answer: {mounts}.",
            chance=chance,
            mounts=mounts,
        )
    specimens = _specimens_that_settle(f)
    if not f.facts.get("mounts_apply", True):
        return text("For a chance of {chance} of a right answer: {specimens}.", chance=chance, specimens=specimens)
    if not f.facts["mounts_known"]:
        return text(
            "For a chance of {chance} of a right answer: {specimens}; how much further mounts would help is not "
            "known, since each specimen was mounted once.",
            chance=chance,
            specimens=specimens,
        )
    if all(f.facts[key] is None for key in _keys("mounts")):
        return text(
            "For a chance of {chance} of a right answer: {specimens}; no number of mounts of these specimens will do.",
            chance=chance,
            specimens=specimens,
        )
    return text(
        "For a chance of {chance} of a right answer: {specimens}; or with these specimens {mounts}.",
        chance=chance,
        specimens=specimens,
        mounts=mounts,
    )


def _keys(what: str) -> tuple[str, str]:
    return f"{what}_at_worthwhile", f"{what}_at_zero"


def _both(ends: Sequence[str]) -> str:
    if ends[0] == ends[1]:
        return text("{number}, whether there is a difference or none", number=ends[0])
    return text(
        "{apart} if the true difference is the worthwhile one, {alike} if there is none", apart=ends[0], alike=ends[1]
    )


def _specimens_of_both(counts: Sequence[int | None], now: int, most: int, ratio: float) -> str:
    """Specimens if there is the worthwhile difference and if there is none; in one breath where today's has more."""
    apart, alike = counts
    if ratio == 1.0 or apart is None or alike is None or apart == alike or now in (apart, alike):
        return _both([_specimens(count, now, most, ratio) for count in counts])
    return text(
        "{today} specimens of today's type and {n} of each other type if the true difference is the worthwhile one, "
        "{today_alike} and {n_alike} if there is none (now {today_now} and {now})",
        today=round(apart * ratio),
        n=apart,
        today_alike=round(alike * ratio),
        n_alike=alike,
        today_now=round(now * ratio),
        now=now,
    )


def _specimens(count: int | None, now: int, most: int, ratio: float) -> str:
    """Specimens of each type; today's own number where it has `ratio` times as many as the others."""
    if count is None:
        return text("no number up to {most} specimens of each type", most=most)
    if ratio != 1.0:
        return _unequal(count, now, ratio)
    if count == now:
        return plural("the {n} specimen of each type as now", "the {n} specimens of each type as now", count)
    return plural(
        "{n} specimen of each type instead of {now}", "{n} specimens of each type instead of {now}", count, now=now
    )


def _unequal(count: int, now: int, ratio: float) -> str:
    numbers = {"today": round(count * ratio), "n": count, "today_now": round(now * ratio), "now": now}
    if count == now:
        return text("the {today} of today's type and {n} of each other type as now", **numbers)
    return text(
        "{today} specimens of today's type instead of {today_now} and {n} of each other type instead of {now}",
        **numbers,
    )


def _mounts(count: int | None, now: int, most: int) -> str:
    if count is None:
        return text("no number up to {most} mounts of each", most=most)
    if count == now:
        return plural("the {n} mount of each as now", "the {n} mounts of each as now", count)
    return plural("{n} mount of each instead of {now}", "{n} mounts of each instead of {now}", count, now=now)


def next_hour_words(steps: Sequence[Step]) -> str:
    """Where the next hour pays and where it does not, from the steps in order of their gain; empty without steps."""
    if not steps:
        return ""
    best = steps[0]
    if best.less == 0.0:
        return text("No spread is expected, so no further hour is needed.")
    return text(
        "The next hour pays best in {more}: {steps}.",
        more={
            Part.SPECIMENS: text("more specimens"),
            Part.MOUNTS: text("more mounts"),
            Part.COUPONS: text("more coupons"),
            Part.READINGS: text("more readings"),
        }[best.more],
        steps="; ".join(_step(step) for step in steps),
    )


def _step(step: Step) -> str:
    more = {
        Part.SPECIMENS: text("one more specimen of each type"),
        Part.MOUNTS: text("one more mount of each specimen"),
        Part.COUPONS: text("one more coupon in each mount"),
        Part.READINGS: text("one more reading on each coupon"),
    }[step.more]
    return text(
        "{more} ({hours} h) lowers the detectable difference by {less}",
        more=more,
        hours=fixed(step.minutes / 60.0, 1),
        less=percent(step.less, 1),
    )


def effort_words(work: Effort) -> str:
    """Hours, changes and material of a plan in one line."""
    facts = {
        "machine": fixed(work.machine_minutes / 60.0, 1),
        "bench": fixed(work.bench_minutes / 60.0, 1),
        "changes": plural("{n} nozzle change", "{n} nozzle changes", work.nozzle_changes),
        "sheet": f"{fixed(work.sheet_area_m2, 2)} m²",
    }
    if work.gas_m3 is None:
        return text(
            "About {machine} h at the machine and {bench} h at the bench; {changes}, {sheet} of sheet.", **facts
        )
    return text(
        "About {machine} h at the machine and {bench} h at the bench; {changes}, {sheet} of sheet, at most {gas} of "
        "gas.",
        gas=f"{fixed(work.gas_m3, 1)} m³",
        **facts,
    )


def _effort_times(f: Finding) -> str:
    speed = f.facts["speed"]
    cut = (
        text("a cut at {speed}", speed=amount(speed))
        if isinstance(speed, Amount)
        else text("a cut of one minute (no speed is stated)")
    )
    return text(
        "Common practice, no source: {mount} a mount (change, centring, height calibration, bore check), {sheet} a "
        "sheet, {coupon} a coupon to pierce, pick up and mark beside {cut}, {reading} a reading at {places} of a "
        "coupon, {repeat} of the coupons measured once more.",
        mount=amount(f.facts["mount"]),
        sheet=amount(f.facts["sheet"]),
        coupon=amount(f.facts["coupon"]),
        cut=cut,
        reading=amount(f.facts["reading"]),
        places=plural("{n} place", "{n} places", whole(f, "places")),
        repeat=percent(number_of(f, "repeat_share")),
    )


# ---- how a question is judged ----------------------------------------------------------------------------------------


def _pieces(piece: str, n: int) -> str:
    if piece == "specimen":
        return plural("{n} specimen", "{n} specimens", n)
    return plural("{n} mount", "{n} mounts", n)


def _by_pieces(f: Finding) -> str:
    return text(
        "{question}: {df} and {den_df} degrees of freedom, from {pieces}.",
        question=_types_at(f.facts["at"]),
        df=f.facts["df"],
        den_df=f.facts["den_df"],
        pieces=_pieces(str(f.facts["piece"]), whole(f, "pieces")),
    )


def _by_both(f: Finding) -> str:
    template = (
        "{question}: judged against specimens and coupons together."
        if f.facts["piece"] == "specimen"
        else "{question}: judged against mounts and coupons together."
    )
    return text(template, question=_types_at(f.facts["at"]))


def _by_coupons(f: Finding) -> str:
    subject = Subject(Asks(str(f.facts["asks"])), factor=str(f.facts["factor"]))
    return text(
        "{question}: {df} and {den_df} degrees of freedom, from the coupons inside mounts.",
        question=subject_words(subject),
        df=f.facts["df"],
        den_df=f.facts["den_df"],
    )


def _no_test(template: str) -> Say:
    return lambda f: text(template, question=_types_at(f.facts["at"]))


def not_estimated_words(found: Assessment) -> str:
    """Terms that the plan cannot estimate, in a sentence; empty where there are none."""
    return _not_estimated(found.dropped) if found.dropped else ""


def _not_estimated(terms: Sequence[str]) -> str:
    return text("Not estimated from this plan: {terms}.", terms=", ".join(terms))


def _spread_source(f: Finding) -> str:
    return {
        "guess": text("{response}: expected spreads from a guess.", response=f.about.response),
        "pilot": text("{response}: expected spreads from a pilot.", response=f.about.response),
        "earlier trial": text("{response}: expected spreads from an earlier trial.", response=f.about.response),
    }[str(f.facts["source"])]


def _life_ratio(f: Finding) -> str:
    return text(
        "{response}: if all {specimens} specimens of each of two types fail, a ratio of lives of {ratio} is detected "
        "with a chance of {chance} (normal approximation, Weibull lives); each specimen that does not fail tells less.",
        response=f.about.response,
        specimens=f.facts["specimens"],
        ratio=fixed(number_of(f, "ratio"), 2),
        chance=percent(number_of(f, "chance")),
    )


SENTENCES: Mapping[PlanKind, Say] = {
    PlanKind.JUDGED_BY_PIECES: _by_pieces,
    PlanKind.JUDGED_BY_BOTH: _by_both,
    PlanKind.JUDGED_BY_COUPONS: _by_coupons,
    PlanKind.NO_TEST_SHEETS: _no_test("{question}: no test, the sheets leave nothing to judge the types by."),
    PlanKind.NO_TEST_REPEATED: _no_test(
        "{question}: nothing above the coupon is repeated, so differences come without a test."
    ),
    PlanKind.NOT_ESTIMATED: lambda f: _not_estimated(names_of(f, "terms")),
    PlanKind.SPREAD_SOURCE: _spread_source,
    PlanKind.SPREAD_MISSING: lambda f: text(
        "{response}: no spread is stated for {sources}; it was taken as none.",
        response=f.about.response,
        sources=source_words(names_of(f, "sources")),
    ),
    PlanKind.NO_EXPECTED_SPREAD: lambda f: text(
        "{response}: what the plan detects cannot be said, no expected spread is stated; cut a pilot, or state "
        "responses.{response}.expected in the trial file.",
        response=f.about.response,
    ),
    PlanKind.EFFECTIVE_COUPONS: lambda f: text(
        "{response}: for the nozzle type the coupons of one type are worth {coupons} coupons that each had a specimen "
        "and mount of their own.",
        response=f.about.response,
        coupons=fixed(number_of(f, "coupons"), 1),
    ),
    PlanKind.NEEDED: _needed,
    PlanKind.EFFORT_TIMES: _effort_times,
    PlanKind.EFFORT_GAS: lambda f: text(
        "Gas by isentropic flow through the stated flow area without losses, so the figure is an upper one."
    ),
    PlanKind.LIFE_RATIO: _life_ratio,
    PlanKind.LIFE_SPREAD_UNKNOWN: lambda f: text(
        "{response}: what the plan detects cannot be said, no spread between specimens is expected.",
        response=f.about.response,
    ),
}
