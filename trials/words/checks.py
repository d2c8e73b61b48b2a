"""The checks of a response in words; intervals say what they cover."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum

from trials.decide.kinds import StudyKind
from trials.findings import Fact, Finding, Weight
from trials.words import facts
from trials.words.language import counted, plural, text, word
from trials.words.names import person
from trials.words.numbers import (
    chance,
    changed,
    changed_within,
    listed,
    number,
    number_in_use,
    p_value,
    point,
    with_unit,
)

MANY = 6  # names in one sentence; more are counted
SHOWN = 0.05  # p below which a difference is said to be shown


def _flagged(finding: Finding) -> bool:
    return finding.weight in (Weight.COULD_CHANGE, Weight.LOOK_AT)


def _some(names: Sequence[str], most: int = MANY) -> str:
    """So many names, and how many more there are."""
    if len(names) <= most:
        return listed(names)
    return text("{names} and {n} more", names=", ".join(names[:most]), n=len(names) - most)


def _far_readings(finding: Finding) -> str:
    if not _flagged(finding):
        return text("No reading stands far from the others of its coupon.")
    rows = [facts.as_row(row) for row in facts.several(finding, "readings")]
    named = [_reading(*row) for row in rows]
    said = text(
        "Far from the other readings of the coupon: {readings}. Measure again or correct; it stays in.",
        readings=_some(named),
    )
    pairs = [_pair(*facts.as_row(row)) for row in facts.several(finding, "pairs")]
    apart = text(
        "Two readings far apart, and which one is off cannot be told: {pairs}. Measure again or correct; both stay in.",
        pairs=_some(pairs),
    )
    return " ".join([*([said] if named else []), *([apart] if pairs else [])])


def _pair(coupon: Fact, one: Fact, other: Fact) -> str:
    first, second = facts.as_amount(one), facts.as_amount(other)
    return text(
        "coupon {coupon}: {one} and {other}",
        coupon=coupon,
        one=number_in_use(first.value, first.unit),
        other=with_unit(second.value, second.unit),
    )


def _reading(coupon: Fact, reading: Fact, value: Fact) -> str:
    found = facts.as_amount(value)
    return text(
        "coupon {coupon} reading {reading}: {value}",
        coupon=coupon,
        reading=reading,
        value=with_unit(found.value, found.unit),
    )


def _far_coupons(finding: Finding) -> str:
    if not _flagged(finding):
        return text("No coupon stands far from what its nozzle and settings lead one to expect.")
    return plural(
        "Far from what nozzle and settings lead one to expect: coupon {coupons}. Look at the edge.",
        "Far from what nozzle and settings lead one to expect: coupons {coupons}. Look at the edges.",
        len(finding.about.coupons),
        coupons=_some(finding.about.coupons),
    )


def _centring(finding: Finding) -> str:
    if not _flagged(finding):
        return plural(
            "No mount shows one side worse than another ({n} mount looked at).",
            "No mount shows one side worse than another ({n} mounts looked at).",
            facts.whole(finding, "mounts"),
        )
    shifts = [_shift(*facts.as_row(row)) for row in facts.several(finding, "shifts")]
    return plural(
        "Sides differ, as with an off-centre nozzle: {shifts}. Check the centring of this mount.",
        "Sides differ, as with an off-centre nozzle: {shifts}. Check the centring of these mounts.",
        len({facts.as_row(row)[0] for row in facts.several(finding, "shifts")}),
        shifts="; ".join(shifts),
    )


def _shift(mount: Fact, nozzle: Fact, high: Fact, low: Fact, difference: Fact) -> str:
    return text(
        "mount {mount} ({nozzle}): {high} against {low} {difference}",
        mount=mount,
        nozzle=person(str(nozzle)),
        high=word(str(high)),
        low=word(str(low)),
        difference=changed(facts.as_amount(difference)),
    )


def _interval(finding: Finding) -> str:
    """The interval of a trend, with the digits that it bears."""
    low, high = facts.amount(finding, "low"), facts.amount(finding, "high")
    ends = changed_within((high.value - low.value) / 2.0, low, high) if low.unit != "%" else map(changed, (low, high))
    return text("{low} to {high}", **dict(zip(("low", "high"), ends, strict=True)))


def _trend(finding: Finding) -> str:
    value, low, high = (facts.amount(finding, name) for name in ("value", "low", "high"))
    return changed(value) if value.unit == "%" else changed_within((high.value - low.value) / 2.0, value)[0]


def _zero_inside(finding: Finding) -> bool:
    return facts.amount(finding, "low").value <= 0 <= facts.amount(finding, "high").value


def _drift(finding: Finding) -> str:
    span, p = _interval(finding), chance(facts.figure(finding, "p"))
    if _flagged(finding):
        return text(
            "The response drifts over the order of cutting: {value} from first to last coupon (95 % interval "
            "{interval}). The random order keeps it from favouring a type; look for lens heating or wear.",
            value=_trend(finding),
            interval=span,
        )
    if _zero_inside(finding):
        return text(
            "No drift over the order of cutting is shown; {interval} from first to last coupon cannot be excluded "
            "(95 % interval).",
            interval=span,
        )
    return text(
        "Over the order of cutting a drift of {interval} from first to last coupon is likely but not sure (95 % "
        "interval, {p}).",
        interval=span,
        p=p,
    )


def _drift_at_the_bench(finding: Finding) -> str:
    span, p = _interval(finding), chance(facts.figure(finding, "p"))
    if _flagged(finding):
        return text(
            "The readings drift over the order of measuring: {value} from first to last (95 % interval {interval}). "
            "The random order keeps it from favouring a type; check the instrument on its reference piece.",
            value=_trend(finding),
            interval=span,
        )
    if _zero_inside(finding):
        return text(
            "No drift over the order of measuring is shown; {interval} from first to last reading cannot be excluded "
            "(95 % interval).",
            interval=span,
        )
    return text(
        "Over the order of measuring a drift of {interval} from first to last reading is likely but not sure (95 % "
        "interval, {p}).",
        interval=span,
        p=p,
    )


def _wear(finding: Finding) -> str:
    span, p = _interval(finding), chance(facts.figure(finding, "p"))
    if _flagged(finding):
        return text(
            "The response moves as a mount goes on: {value} per ten coupons cut (95 % interval {interval}).",
            value=_trend(finding),
            interval=span,
        )
    if _zero_inside(finding):
        return text(
            "No change as a mount goes on is shown; {interval} per ten coupons cannot be excluded (95 % interval).",
            interval=span,
        )
    return text(
        "As a mount goes on, a change of {interval} per ten coupons is likely but not sure (95 % interval, {p}).",
        interval=span,
        p=p,
    )


def _ratio(finding: Finding) -> dict[str, str]:
    """Names and figures of a comparison of spreads."""
    named = {name: number(facts.figure(finding, name), 2) for name in ("ratio", "low", "high")}
    return named | {"most": finding.about.nozzle, "least": finding.about.against}


def _along_an_edge(finding: Finding) -> str:
    if _flagged(finding):
        return text(
            "The spread of readings on one coupon differs between types: {most} {ratio} times that of {least} (95 % "
            "interval {low} to {high}, for all pairs of types together). A steadier nozzle is a result too.",
            **_ratio(finding),
        )
    if facts.figure(finding, "low") > 1:
        return text(
            "The spread of readings on one coupon is likely to differ between types: {most} {ratio} times "
            "that of {least}, but not sure (95 % interval {low} to {high}, for all pairs of types together).",
            **_ratio(finding),
        )
    return text(
        "The spread of readings on one coupon is not shown to differ between types: largest ({most}) to smallest "
        "({least}) {ratio} to 1, with {low} to {high} not excluded (95 %, for all pairs of types together).",
        **_ratio(finding),
    )


def _between_coupons(finding: Finding) -> str:
    if _flagged(finding):
        return text(
            "The spread from coupon to coupon differs between types: {most} {ratio} times that of {least} (95 % "
            "interval {low} to {high}, for all pairs of types together). A steadier nozzle is a result too.",
            **_ratio(finding),
        )
    if facts.figure(finding, "low") > 1:
        return text(
            "The spread from coupon to coupon is likely to differ between types: {most} {ratio} times "
            "that of {least}, but not sure (95 % interval {low} to {high}, for all pairs of types together).",
            **_ratio(finding),
        )
    return text(
        "The spread from coupon to coupon is not shown to differ between types: largest ({most}) to smallest "
        "({least}) {ratio} to 1, with {low} to {high} not excluded (95 %, for all pairs of types together).",
        **_ratio(finding),
    )


def _curves_not_repeated(finding: Finding) -> str:
    return text("No setting was cut twice, so the shape of the curves cannot be checked.")


def _curves_reach_all(finding: Finding) -> str:
    return text("The model reaches every setting that was cut; there is no shape left to check.")


def _curves(finding: Finding) -> str:
    p = chance(facts.figure(finding, "p"))
    if not _flagged(finding):
        return text("The curves fit the repeated settings as far as repeats can tell ({p}).", p=p)
    return text(
        "Some settings lie off the fitted curves by more than repeats differ ({p}): read means at the settings that "
        "were cut, not between them.",
        p=p,
    )


def shuffle_words(finding: Finding) -> str:
    """What was counted in a shuffle test, and what could not have been shown."""
    n, p = facts.whole(finding, "arrangements"), chance(facts.figure(finding, "p"))
    if not finding.facts["listed"]:
        said = text("Ways drawn from {n} of dealing the types to specimens: {p}.", n=counted(n), p=p)
    else:
        said = plural(
            "The {n} way of dealing the types to specimens: {p}, and none could give less than {smallest}.",
            "All {n} ways of dealing the types to specimens: {p}, and none could give less than {smallest}.",
            n,
            p=p,
            smallest=p_value(facts.figure(finding, "smallest_p")),
        )
    if finding.facts["out_of_reach"] is None:
        return said
    level = number(facts.figure(finding, "out_of_reach"), 1)
    beyond = text("With these specimens the level {level} is out of reach.", level=level)
    return f"{said} {beyond}"


def _shuffled(finding: Finding) -> str:
    counted, p = shuffle_words(finding), facts.figure(finding, "p")
    if p < SHOWN:
        return text("Whole specimens shuffled within sheets: types differ here too. {counted}", counted=counted)
    if facts.figure(finding, "smallest_p") > SHOWN:
        few = text("Whole specimens shuffled within sheets: too few to show any difference.")
        return f"{few} {counted}"
    return text("Whole specimens shuffled within sheets: no difference is shown here. {counted}", counted=counted)


def _shape(finding: Finding) -> str:
    if not _flagged(finding):
        return text("The coupon residuals look regular (no long tail or lean).")
    lean, tail = facts.figure(finding, "skewness"), facts.figure(finding, "excess") > 1
    seen = [text("a lean to the high side")] if lean > 0.5 else [text("a lean to the low side")] if lean < -0.5 else []
    seen += [text("long tails")] if tail else []
    return text("The coupon residuals show {shapes}.", shapes=listed(seen or [text("another shape than the bell")]))


def _scale(finding: Finding) -> str:
    log = finding.facts["log"]
    low, high, best = (point(f"{facts.figure(finding, name):g}") for name in ("low", "high", "best"))
    if low == high:
        span = text("power {best} fits best, and of those tried no other does (95 % interval)", best=best)
    else:
        span = text(
            "powers {low} to {high} fit about as well as the best, {best} (95 % interval)",
            low=low,
            high=high,
            best=best,
        )
    if not _flagged(finding):
        if log:
            return text("Working on the log scale suits these readings: {span}.", span=span)
        return text("Working on the scale as measured suits these readings: {span}.", span=span)
    if log:
        return text("Another scale than the log scale would suit these readings better: {span}.", span=span)
    return text("Another scale than the scale as measured would suit these readings better: {span}.", span=span)


def _zeros(finding: Finding) -> str:
    half = facts.amount(finding, "half")
    return plural(
        "{n} reading of zero counts as half the instrument's step ({half}).",
        "{n} readings of zero count as half the instrument's step ({half}).",
        facts.whole(finding, "n"),
        half=with_unit(half.value, half.unit),
    )


def _without_far(finding: Finding) -> str:
    n = facts.whole(finding, "n")
    lead = plural("Without the {n} flagged reading", "Without the {n} flagged readings", n)
    return _again(finding, lead, text("Settle these readings first."))


def _at_a_quarter(finding: Finding) -> str:
    lead = text("With zeros counted as a quarter of the instrument's step")
    return _again(finding, lead, text("The zeros decide; measure finer."))


def _at_double(finding: Finding) -> str:
    lead = text("With zeros counted as twice the instrument's step")
    return _again(finding, lead, text("The zeros decide; measure finer."))


def _above_at_double(finding: Finding) -> str:
    n = facts.whole(finding, "n")
    lead = plural(
        "With the {n} reading above the instrument's range at twice its bound",
        "With the {n} readings above the instrument's range at twice their bound",
        n,
    )
    return _again(finding, lead, text("These readings decide; measure them with a longer range."))


def _below_at_a_quarter(finding: Finding) -> str:
    n = facts.whole(finding, "n")
    lead = plural(
        "With the {n} reading below the instrument's range at a quarter of its bound",
        "With the {n} readings below the instrument's range at a quarter of their bound",
        n,
    )
    return _again(finding, lead, text("These readings decide; measure them finer."))


def _lost_at_worst(finding: Finding) -> str:
    n = facts.whole(finding, "n")
    lead = plural(
        "With the {n} coupon that was not severed or aborted at the worst value seen",
        "With the {n} coupons that were not severed or aborted at the worst value seen",
        n,
    )
    return _again(finding, lead, text("The lost coupons decide; the word stays open."))


def _again(finding: Finding, lead: str, remedy: str) -> str:
    if "problem" in finding.facts:
        return text("{lead} nothing can be said: {problem}", lead=lead, problem=facts.word(finding, "problem"))
    rows = [facts.as_row(row) for row in facts.several(finding, "sizes")]
    gone = [text("{nozzle} is gone", nozzle=person(str(nozzle))) for nozzle in facts.several(finding, "gone")]
    if finding.facts["words_change"]:
        moved = [_word_moves(row[0], row[3], row[4]) for row in rows if row[3] != row[4]]
        return text(
            "{lead} the answer changes: {changes}. {remedy}",
            lead=lead,
            changes="; ".join([*moved, *gone]),
            remedy=remedy,
        )
    sizes = "; ".join(_size_moves(*row[:3], *row[5:]) for row in rows)
    if any(row[3] is not None for row in rows):
        return text("{lead} no word changes: {sizes}.", lead=lead, sizes=sizes)
    return text("{lead} the sizes are: {sizes}.", lead=lead, sizes=sizes)


def _word_moves(nozzle: Fact, was: Fact, now: Fact) -> str:
    known = {name: text(str(word)) for name, word in (("was", was), ("now", now))}
    return text("{nozzle}: {was} becomes {now}", nozzle=person(str(nozzle)), **known)


def _size_moves(nozzle: Fact, was: Fact, now: Fact, half: Fact = None) -> str:
    """half: of the width of the interval of what it was, which says how many digits a difference bears."""
    first, second = facts.as_amount(was), facts.as_amount(now)
    if isinstance(half, float) and first.unit != "%":
        before, after = changed_within(half, first, second)
    else:
        before, after = changed(first), changed(second)
    return text("{nozzle} {now} (was {was})", nozzle=person(str(nozzle)), now=after, was=before)


def check_name(kind: StrEnum) -> str:
    """What a check looks at, in two or three words; empty for other findings."""
    known = {
        StudyKind.FAR_READINGS: text("Far readings"),
        StudyKind.FAR_COUPONS: text("Far coupons"),
        StudyKind.CENTRING: text("Centring"),
        StudyKind.DRIFT: text("Drift over the order of cutting"),
        StudyKind.DRIFT_AT_THE_BENCH: text("Drift over the order of measuring"),
        StudyKind.WEAR_IN_A_MOUNT: text("Change as a mount goes on"),
        StudyKind.SPREAD_ALONG_AN_EDGE: text("Spread of readings on one coupon, by type"),
        StudyKind.SPREAD_BETWEEN_COUPONS: text("Spread from coupon to coupon, by type"),
        StudyKind.CURVES: text("Fit of the curves"),
        StudyKind.SHUFFLED_SPECIMENS: text("Test by shuffling"),
        StudyKind.RESIDUAL_SHAPE: text("Shape of the residuals"),
        StudyKind.SCALE: text("Scale"),
        StudyKind.ZEROS: text("Zeros"),
    }
    return known.get(StudyKind(kind), "")


def _spread_not_compared(finding: Finding) -> str:
    same, at_end = (tuple(map(str, facts.several(finding, name))) for name in ("same", "at_end"))
    alone = facts.word(finding, "check") == StudyKind.SPREAD_ALONG_AN_EDGE
    never = (
        text("the readings on one coupon of {types} never differ", types=listed(same))
        if alone
        else text("the coupons of {types} never differ", types=listed(same))
    )
    ends = text("most grades of {types} lie at the end of the scale", types=listed(at_end))
    why = listed([*([never] if same else []), *([ends] if at_end else [])])
    return text("{check}: not compared, since {why}.", check=_checked(finding), why=why)


def _checked(finding: Finding) -> str:
    return check_name(StudyKind(facts.word(finding, "check")))


def _trend_not_known(finding: Finding) -> str:
    return text(
        "{check}: cannot be computed, since beside the settings these records leave too little to judge a trend by.",
        check=_checked(finding),
    )


def _check_not_made(finding: Finding) -> str:
    return text(
        "{check}: cannot be computed. {problem}", check=_checked(finding), problem=facts.word(finding, "problem")
    )


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    StudyKind.FAR_READINGS: _far_readings,
    StudyKind.FAR_COUPONS: _far_coupons,
    StudyKind.CENTRING: _centring,
    StudyKind.DRIFT: _drift,
    StudyKind.DRIFT_AT_THE_BENCH: _drift_at_the_bench,
    StudyKind.WEAR_IN_A_MOUNT: _wear,
    StudyKind.SPREAD_ALONG_AN_EDGE: _along_an_edge,
    StudyKind.SPREAD_BETWEEN_COUPONS: _between_coupons,
    StudyKind.SPREAD_NOT_COMPARED: _spread_not_compared,
    StudyKind.CURVES_NOT_REPEATED: _curves_not_repeated,
    StudyKind.CURVES_REACH_ALL: _curves_reach_all,
    StudyKind.CURVES: _curves,
    StudyKind.SHUFFLED_SPECIMENS: _shuffled,
    StudyKind.RESIDUAL_SHAPE: _shape,
    StudyKind.SCALE: _scale,
    StudyKind.ZEROS: _zeros,
    StudyKind.TREND_NOT_KNOWN: _trend_not_known,
    StudyKind.CHECK_NOT_MADE: _check_not_made,
    StudyKind.WITHOUT_THE_FAR: _without_far,
    StudyKind.ZEROS_AT_A_QUARTER: _at_a_quarter,
    StudyKind.ZEROS_AT_DOUBLE: _at_double,
    StudyKind.ABOVE_AT_DOUBLE: _above_at_double,
    StudyKind.BELOW_AT_A_QUARTER: _below_at_a_quarter,
    StudyKind.LOST_AT_WORST: _lost_at_worst,
}
