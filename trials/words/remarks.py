"""What was seen while a response was studied, what a trial cannot say and what comes next, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum

from trials.decide.decision_result import Action
from trials.decide.kinds import StudyKind
from trials.findings import Amount, Fact, Finding
from trials.words import checks, facts
from trials.words.language import plural, text, word
from trials.words.names import person
from trials.words.numbers import bare, chance, fixed, listed, number_in_use, percent, plain, times, with_unit
from trials.words.settings import at_place, between, factor_name, layer_name, place_words


def _terms_left_out(finding: Finding) -> str:
    terms = ", ".join(str(name) for name in facts.several(finding, "terms"))
    return text(
        "Left out of the model because the cut settings cannot carry them: {terms} (in the order of the plan, not by "
        "what the data say).",
        terms=terms,
    )


def _spread_left_out(finding: Finding) -> str:
    return text(
        "The spread {between} cannot be told apart from the rest in these records and is left out.",
        between=between(finding.about.source),
    )


def _blocks_taken_out(finding: Finding) -> str:
    block = facts.word(finding, "block")
    return text(
        "Types are compared with each {one} taken out, whatever the spread between {many}.",
        many=layer_name("sheet", block, several=True),
        one=layer_name("sheet", block),
    )


def _blocks_stay(finding: Finding) -> str:
    block = facts.word(finding, "block")
    return text(
        "The {many} do not hold the types alike, so they cannot be taken out of the comparison: their spread counts "
        "against it.",
        many=layer_name("sheet", block, several=True),
    )


def _spread_by_type(finding: Finding) -> str:
    return text("In the comparisons each type has its own spread from coupon to coupon and from reading to reading.")


def _one_spread(finding: Finding) -> str:
    return text(
        "These records are too few to give each type its own spread: the comparisons use one for all types, and are "
        "too sure of themselves where one type is much wilder than another."
    )


def _one_lot(finding: Finding) -> str:
    return text(
        "Whether the word holds for another lot: every piece of {types} came from one lot, so the answer is about "
        "these lots.",
        types=listed([person(name) for name in finding.about.nozzles]),
    )


def _spread_zero(finding: Finding) -> str:
    block = facts.word(finding, "block")
    names = listed([between(str(source), block) for source in facts.several(finding, "sources")])
    if finding.facts["classical_beside"]:
        return text(
            "The spread {between} came out as zero. The nozzle test and the comparisons do not lean on that; it "
            "stays in the reckoning of the other tests, which are on the cautious side; the classical test stands "
            "beside them.",
            between=names,
        )
    return text(
        "The spread {between} came out as zero. The nozzle test and the comparisons do not lean on that; it "
        "stays in the reckoning of the other tests, which are on the cautious side.",
        between=names,
    )


def _outside(finding: Finding) -> str:
    return text(
        "{types} did not cut around {place}: the mean there is reached by the curves alone. Compare on average "
        "instead.",
        types=listed(finding.about.nozzles),
        place=place_words(facts.place(finding)),
    )


def _order_changes(finding: Finding) -> str:
    unit = facts.word(finding, "unit")
    low, high = (_level(finding.facts[name], unit) for name in ("low_at", "high_at"))
    return text(
        "The order of {nozzle} and {against} depends on {factor}: {nozzle} is lower at {low} and higher at {high}, "
        "both beyond chance (one-sided 5 % each).",
        nozzle=finding.about.nozzle,
        against=finding.about.against,
        factor=factor_name(facts.word(finding, "factor")),
        low=low,
        high=high,
    )


def _level(level: Fact, unit: str) -> str:
    return plain(level, unit) if isinstance(level, (int, float, str)) else ""


def _not_studied(finding: Finding) -> str:
    return text("{response} was not studied.", response=finding.about.response)


def _grades_by_shares(finding: Finding) -> str:
    return text(
        "The word rests on the share of coupons at grade {grade} or better, over all settings: {share} more of them "
        "would be worthwhile. Types are judged by their specimens; a lost coupon counts as not reaching the grade. "
        "Differences against today's are shares, 0.2 being 20 of 100 coupons, so that above zero is better; means and "
        "pairs are grades, so that above zero is worse.",
        grade=plain(facts.figure(finding, "grade")),
        share=percent(facts.figure(finding, "share")),
    )


def _grades_without_worthwhile(finding: Finding) -> str:
    return text("No difference of the grades was declared worthwhile before cutting, so the grades end in no word.")


def _grades_all_one(finding: Finding) -> str:
    grade = plain(facts.figure(finding, "grade"))
    return text("Every coupon has grade {grade}: the grades tell no nozzle from another.", grade=grade)


def _grades_no_spread(finding: Finding) -> str:
    return text("The grades leave no spread to judge by; compare them by eye.")


def _always_one_grade(finding: Finding) -> str:
    grade = plain(facts.figure(finding, "grade"))
    return text("{nozzle} always has grade {grade}.", nozzle=finding.about.nozzle, grade=grade)


def _grades_shuffled(finding: Finding) -> str:
    return text(
        "So the nozzle test shuffles whole specimens within sheets. {counted}", counted=checks.shuffle_words(finding)
    )


def _no_ordered_model(finding: Finding) -> str:
    return text("The grades carry no ordered model: too few of them differ.")


def _grades_apart(finding: Finding) -> str:
    names = {"nozzle": finding.about.nozzle, "against": finding.about.against}
    lower, bounded = finding.facts["lower"], finding.facts["bound"] is not None
    if not bounded and lower:
        return text("{nozzle} has lower grades than {against} throughout, so no finite estimate exists.", **names)
    if not bounded:
        return text("{nozzle} has higher grades than {against} throughout, so no finite estimate exists.", **names)
    names["bound"] = times(facts.figure(finding, "bound"))
    if lower:
        return text(
            "{nozzle} has lower grades than {against} throughout, so no finite estimate exists; the odds of a worse "
            "grade are at most {bound} times those of {against} (95 %, each type on its own).",
            **names,
        )
    return text(
        "{nozzle} has higher grades than {against} throughout, so no finite estimate exists; the odds of a worse "
        "grade are at least {bound} times those of {against} (95 %, each type on its own).",
        **names,
    )


def _grade_odds(finding: Finding) -> str:
    return text(
        "The odds of a worse dross grade with {nozzle} are {odds} times those of {against} (95 % interval {low} to "
        "{high}, each type on its own, specimens taken into account).",
        nozzle=finding.about.nozzle,
        against=finding.about.against,
        **{name: times(facts.figure(finding, name)) for name in ("odds", "low", "high")},
    )


def _grades_not_alike(finding: Finding) -> str:
    return text(
        "The types do not shift all grades alike ({p}): compare the shares of each grade, not one odds ratio.",
        p=chance(facts.figure(finding, "p")),
    )


def _one_piece_of_each(finding: Finding) -> str:
    return text("Cut with three specimens or more of each type: one piece of each cannot speak for its type.")


def _only_these_pieces(finding: Finding) -> str:
    return text(
        "Whether the difference belongs to the nozzle type: no second piece or second fitting of a type was cut, so "
        "another nozzle of the same type may do otherwise."
    )


def _order_not_known(finding: Finding) -> str:
    return text("Whether the order of cutting was random: this table was cut without a plan of this tool.")


def _many_primaries(finding: Finding) -> str:
    n = facts.whole(finding, "n")
    return text("{n} responses were called decisive: each answer is the weaker for it.", n=n)


def _other_jobs(finding: Finding) -> str:
    thickness, gas = finding.facts["thickness"], facts.word(finding, "gas")
    parts = [plain(thickness.value, thickness.unit)] if isinstance(thickness, Amount) else []
    parts += [facts.word(finding, "material")] if finding.facts["material"] else []
    parts += [text("with {gas}", gas=word(gas))] if gas else []
    if not parts:
        return text("Anything about another material, thickness or gas.")
    return text("Anything about another material, thickness or gas than {job}.", job=" ".join(parts))


def _other_settings(finding: Finding) -> str:
    parts = [_range(*facts.as_row(row)) for row in facts.several(finding, "ranges")]
    ranges = ", ".join(parts) or text("one setting")
    return text("Anything outside the settings that were cut ({ranges}).", ranges=ranges)


def _range(name: Fact, unit: Fact, levels: Fact) -> str:
    factor, row = factor_name(str(name)), facts.as_row(levels)
    if any(isinstance(level, str) for level in row):
        return text("{factor} {levels}", factor=factor, levels=listed(row))
    low, high = (level for level in row if isinstance(level, (int, float)))
    return text("{factor} {low} to {high}", factor=factor, low=bare(low, str(unit)), high=plain(high, str(unit)))


def _not_measured(finding: Finding) -> str:
    lives = text("Lens life: not measured here.")
    if not finding.facts.get("lives"):
        lives = text("Lens life and nozzle life: not measured here.")
    window, cost = finding.facts.get("window"), finding.facts.get("cost")
    if window and cost:
        return lives
    if window:
        return text("{lives} Cost: not computed here.", lives=lives)
    if cost:
        return text("{lives} Best settings and operating window: not computed here.", lives=lives)
    return text("{lives} Best settings, operating window and cost: not computed here.", lives=lives)


def _best_confirmed(finding: Finding) -> str:
    nozzle = person(finding.about.nozzle)
    return text("{nozzle} at its best is confirmed: {mean}", nozzle=nozzle, mean=_within(finding, True))


def _best_not_confirmed(finding: Finding) -> str:
    return text(
        "{nozzle} at its best is not confirmed: {mean} Look for what has changed before going over to it.",
        nozzle=person(finding.about.nozzle),
        mean=_within(finding, False),
    )


def _within(finding: Finding, inside: bool) -> str:
    mean, low, high = (facts.amount(finding, name) for name in ("mean", "low", "high"))
    names = {
        "mean": with_unit(mean.value, mean.unit),
        "low": number_in_use(low.value, low.unit),
        "high": with_unit(high.value, high.unit),
    }
    measured = facts.whole(finding, "measured")
    if inside:
        return plural(
            "the typical edge of {n} coupon, {mean}, fell within the limits {low} to {high} stated before.",
            "the typical edge of {n} coupons, {mean}, fell within the limits {low} to {high} stated before.",
            measured,
            **names,
        )
    return plural(
        "the typical edge of {n} coupon, {mean}, fell outside the limits {low} to {high} stated before.",
        "the typical edge of {n} coupons, {mean}, fell outside the limits {low} to {high} stated before.",
        measured,
        **names,
    )


def _confirm_best(finding: Finding) -> str:
    if finding.about.against:
        return plural(
            "Confirm {nozzle} {place} with {n} coupon before changing over.",
            "Confirm {nozzle} {place} with {n} coupons before changing over.",
            facts.whole(finding, "coupons"),
            nozzle=person(finding.about.nozzle),
            place=at_place(facts.place(finding)),
        )
    return plural(
        "Confirm {nozzle} {place} with {n} coupon before changing the settings.",
        "Confirm {nozzle} {place} with {n} coupons before changing the settings.",
        facts.whole(finding, "coupons"),
        nozzle=person(finding.about.nozzle),
        place=at_place(facts.place(finding)),
    )


def _settle_reading(finding: Finding) -> str:
    return text("Settle this reading first:")


def _not_recorded(finding: Finding) -> str:
    return plural(
        "{n} planned coupon is not recorded as cut: record it or say why not.",
        "{n} planned coupons are not recorded as cut: record them or say why not.",
        facts.whole(finding, "n"),
    )


def _consider(finding: Finding) -> str:
    names = {"nozzle": person(finding.about.nozzle), "place": at_place(facts.place(finding))}
    if not (prices := _prices(finding)):
        return text(
            "Consider {nozzle} for this job {place}: run a few parts with it, and change over if they hold.", **names
        )
    return text(
        "Consider {nozzle} for this job {place} ({price} against {today} {currency} a piece): run a few parts with "
        "it, and change over if they hold.",
        **names,
        **prices,
    )


def _prices(finding: Finding) -> dict[str, str]:
    """Prices of a type and of today's; none where either is not stated."""
    if finding.facts["price"] is None or finding.facts["today_price"] is None:
        return {}
    return {
        "price": fixed(facts.figure(finding, "price"), 2),
        "today": fixed(facts.figure(finding, "today_price"), 2),
        "currency": facts.word(finding, "currency"),
    }


def _change_over(finding: Finding) -> str:
    nozzle = person(finding.about.nozzle)
    if not (prices := _prices(finding)):
        return text("If they confirm it, run a few parts with {nozzle}, and change over if they hold.", nozzle=nozzle)
    return text(
        "If they confirm it, run a few parts with {nozzle} ({price} against {today} {currency} a piece), and change "
        "over if they hold.",
        nozzle=nozzle,
        **prices,
    )


def _also_better(finding: Finding) -> str:
    names = [person(name) for name in finding.about.nozzles]
    nozzle = person(finding.about.nozzle)
    if len(names) == 1:
        return text("{names} is better too, if {nozzle} cannot be had.", names=names[0], nozzle=nozzle)
    return text("{names} are better too, if {nozzle} cannot be had.", names=listed(names), nozzle=nozzle)


def _repeat_with_pieces(finding: Finding) -> str:
    return text(
        "Cut with further pieces of both before changing over: nozzle {piece} did better than nozzle {against}, and "
        "one piece of each cannot speak for others.",
        piece=facts.word(finding, "piece"),
        against=facts.word(finding, "against_piece"),
    )


def _check_centring(finding: Finding) -> str:
    return text("Check the centring before cutting again.")


def _file_verdict(finding: Finding) -> str:
    action = facts.word(finding, "action")
    if action == Action.KEEP:
        return text("File this verdict. Nothing further to cut for this question; today's nozzle stays.")
    if action == Action.CUT_MORE:
        return text("File this verdict; today's nozzle stays until more is cut.")
    return text("File this verdict.")


def _refused(finding: Finding) -> str:
    """The reason is the text of an error, as written where it was raised."""
    return text("Why: {why}", why=facts.word(finding, "why"))


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    **checks.SENTENCES,
    StudyKind.TERMS_LEFT_OUT: _terms_left_out,
    StudyKind.SPREAD_LEFT_OUT: _spread_left_out,
    StudyKind.BLOCKS_TAKEN_OUT: _blocks_taken_out,
    StudyKind.BLOCKS_STAY: _blocks_stay,
    StudyKind.SPREAD_BY_TYPE: _spread_by_type,
    StudyKind.ONE_SPREAD_FOR_ALL: _one_spread,
    StudyKind.ONE_LOT: _one_lot,
    StudyKind.SPREAD_ZERO: _spread_zero,
    StudyKind.OUTSIDE_OWN_SETTINGS: _outside,
    StudyKind.ORDER_CHANGES: _order_changes,
    StudyKind.NOT_STUDIED: _not_studied,
    StudyKind.GRADES_BY_SHARES: _grades_by_shares,
    StudyKind.GRADES_WITHOUT_WORTHWHILE: _grades_without_worthwhile,
    StudyKind.GRADES_ALL_ONE: _grades_all_one,
    StudyKind.GRADES_NO_SPREAD: _grades_no_spread,
    StudyKind.ALWAYS_ONE_GRADE: _always_one_grade,
    StudyKind.GRADES_SHUFFLED: _grades_shuffled,
    StudyKind.NO_ORDERED_MODEL: _no_ordered_model,
    StudyKind.GRADES_APART: _grades_apart,
    StudyKind.GRADE_ODDS: _grade_odds,
    StudyKind.GRADES_NOT_ALIKE: _grades_not_alike,
    StudyKind.ONE_PIECE_OF_EACH: _one_piece_of_each,
    StudyKind.ONLY_THESE_PIECES: _only_these_pieces,
    StudyKind.ORDER_NOT_KNOWN: _order_not_known,
    StudyKind.MANY_PRIMARIES: _many_primaries,
    StudyKind.OTHER_JOBS: _other_jobs,
    StudyKind.OTHER_SETTINGS: _other_settings,
    StudyKind.NOT_MEASURED: _not_measured,
    StudyKind.SETTLE_READING: _settle_reading,
    StudyKind.NOT_RECORDED_AS_CUT: _not_recorded,
    StudyKind.CONSIDER: _consider,
    StudyKind.CHANGE_OVER: _change_over,
    StudyKind.ALSO_BETTER: _also_better,
    StudyKind.REPEAT_WITH_PIECES: _repeat_with_pieces,
    StudyKind.CHECK_CENTRING: _check_centring,
    StudyKind.BEST_CONFIRMED: _best_confirmed,
    StudyKind.BEST_NOT_CONFIRMED: _best_not_confirmed,
    StudyKind.CONFIRM_BEST: _confirm_best,
    StudyKind.FILE_VERDICT: _file_verdict,
    StudyKind.REFUSED: _refused,
}
