"""Plans that settle, in words: what was found, what it rests on, and the headings of its tables."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from typing import cast

from trials.findings import Amount, Finding, PlaceKind
from trials.plan.kinds import PlanKind
from trials.plan.settling.request import Candidate, Chances, Goal, If, Option
from trials.words.language import plural, text
from trials.words.numbers import fixed, listed, percent, plain
from trials.words.plan import number_of, whole

Say = Callable[[Finding], str]
WORTH_SAYING = 0.03  # gain of a chance


def money_words(amount: float, currency: str) -> str:
    """Money in whole units: `3388 EUR`."""
    return f"{fixed(amount, 0)} {currency}"


def hours_words(hours: float) -> str:
    """Hours with one decimal: `32.4 h`."""
    return f"{fixed(hours, 1)} h"


def goal_words(goal: Goal, currency: str) -> str:
    """What was asked for: `80 % that a comparison ends right, if types differ by the worthwhile difference or not`."""
    truths = {
        If.DIFFERENT: text("if types differ by the worthwhile difference"),
        If.SAME: text("if types do not differ"),
        If.BOTH: text("if types differ by the worthwhile difference, and if they do not"),
    }
    what = text("all comparisons end right") if goal.all_of_them else text("a comparison ends right")
    if goal.hours is not None:
        return text(
            "the best chance for {budget} that {what}, {truth}",
            budget=hours_words(goal.hours),
            what=what,
            truth=truths[goal.truth],
        )
    if goal.money is not None:
        budget = money_words(goal.money, currency)
        return text(
            "the best chance for {budget} that {what}, {truth}", budget=budget, what=what, truth=truths[goal.truth]
        )
    return text("{chance} that {what}, {truth}", chance=percent(goal.chance), what=what, truth=truths[goal.truth])


def plan_words(candidate: Candidate) -> str:
    """`36 mounts of 36 specimens, 3 coupons a mount (2 at today's setting), 2 readings a coupon, 1 sheet`."""
    return text(
        "{mounts} of {specimens}, {coupons} ({repeats} at today's setting), {readings}, {sheets}",
        mounts=plural("{n} mount", "{n} mounts", candidate.n_mounts),
        specimens=plural("{n} specimen", "{n} specimens", sum(candidate.specimens)),
        coupons=plural("{n} coupon a mount", "{n} coupons a mount", candidate.coupons),
        repeats=candidate.repeats or text("none"),
        readings=plural("{n} reading a coupon", "{n} readings a coupon", candidate.readings),
        sheets=plural("{n} sheet", "{n} sheets", candidate.sheets),
    )


def bill_words(option: Option, currency: str) -> str:
    """`32.4 h (15.2 at the machine, 17.2 at the bench), 3388 EUR with the pieces`."""
    bill = option.bill
    return text(
        "{hours} ({machine} at the machine, {bench} at the bench), {money} with sheet, gas and pieces",
        hours=hours_words(bill.hours),
        machine=fixed(bill.machine_hours, 1),
        bench=fixed(bill.bench_hours, 1),
        money=money_words(bill.money, currency),
    )


def chance_words(chances: Chances) -> str:
    """Both chances of a comparison, and of all of them."""
    return text(
        "A comparison ends right with a chance of {different} if the types differ by the worthwhile difference, and of "
        "{same} if they do not; all of them do with {all_different} and {all_same}.",
        different=percent(chances.different),
        same=percent(chances.same),
        all_different=percent(chances.all_different),
        all_same=percent(chances.all_same),
    )


def pieces_words(types: Sequence[str], candidate: Candidate) -> str:
    """`17 cylindrical, 12 plated and 12 double`."""
    return listed([f"{n} {kind}" for kind, n in zip(types, candidate.specimens, strict=True)])


def frontier_heads(currency: str) -> tuple[str, ...]:
    """Titles of the table of chance against money."""
    return (
        text("{currency}", currency=currency),
        text("hours"),
        text("chance if different"),
        text("if the same"),
        text("pieces by type"),
        text("mounts each"),
        text("coupons a mount"),
        text("at today's setting"),
        text("readings"),
    )


def frontier_row(option: Option) -> list[object]:
    """One plan of the line of chance against money."""
    plan = option.candidate
    return [
        fixed(option.bill.money, 0),
        fixed(option.bill.hours, 1),
        percent(option.chances.different),
        percent(option.chances.same),
        " + ".join(str(n) for n in plan.specimens),
        plan.mounts,
        plan.coupons,
        plan.repeats,
        plan.readings,
    ]


def _price_words(name: str) -> str:
    return {
        "machine_hour": text("an hour of the machine"),
        "bench_hour": text("an hour at the bench"),
        "sheet_m2": text("a square metre of sheet"),
        "gas_m3": text("a cubic metre of gas"),
        "mount_minutes": text("a mount"),
        "coupon_minutes": text("a coupon"),
        "reading_minutes": text("a reading"),
    }[name]


def _assumed(finding: Finding) -> str:
    taken = cast(tuple[tuple[str, Amount], ...], finding.facts["taken"])
    currency = cast(str, finding.facts["currency"])
    parts = [
        text("{figure} for {what}", figure=plain(amount.value, amount.unit or currency), what=_price_words(name))
        for name, amount in taken
    ]
    return text(
        "Not stated under [costs], so taken from common practice without a source: {parts}.", parts=listed(parts)
    )


def _out_of_reach(finding: Finding) -> str:
    limits = cast(tuple[tuple[str, int], ...], finding.facts["limits"])
    shown = listed([f"{kind} {count}" for kind, count in limits])
    limited = text(" ({limits})", limits=shown) if limits else ""
    return text(
        "{asked} is out of reach with at most {most} pieces of a type{limited}: the best that can be had is {best}.",
        asked=percent(number_of(finding, "asked")),
        most=whole(finding, "most"),
        limited=limited,
        best=percent(number_of(finding, "best")),
    )


def _pages_lost(finding: Finding) -> str:
    lost = []
    if finding.facts["one_coupon"]:
        lost.append(text("with one coupon a mount: spread between coupons, drift inside a mount, lack of fit"))
    if finding.facts["one_reading"]:
        lost.append(text("with one reading a coupon: spread of readings, side differences, worst of several readings"))
    if finding.facts["one_setting"]:
        lost.append(
            text("with today's setting alone: effects of the settings, operating window, each nozzle at its best")
        )
    return text("Below the floors, so these pages and checks are lost: {lost}.", lost="; ".join(lost))


def _two_places(finding: Finding) -> str:
    shown = {
        name: percent(value) if isinstance(value := finding.facts[name], float) else text("not to be had")
        for name in ("today", "average", "common_curves")
    }
    told = text(
        "The same coupons answer at today's settings with a chance of {today}, averaged over the settings with "
        "{average}, and at the place asked for with curves common to all types with {common_curves}.",
        **shown,
    )
    return " ".join([told, *_recommended(finding)])


def _recommended(finding: Finding) -> list[str]:
    facts, said = finding.facts, []
    if facts["average_money"] is not None:
        money = money_words(number_of(finding, "average_money"), cast(str, facts["currency"]))
        said.append(
            text(
                "Averaged over the settings {money} would do: if the question is about the nozzle and not about one "
                'setting, choose compare_at = "average" before cutting.',
                money=money,
            )
        )
    asked = facts["today"] if facts["at"] == PlaceKind.TODAY else facts["average"]
    gain = cast(float, facts["common_curves"] or 0.0) - cast(float, asked or 0.0)
    if not facts["common"] and gain > WORTH_SAYING:
        said.append(
            text('If squares of the settings may be taken as the same for all types, curves = "common" needs less.')
        )
    return said or [text("Keep the place that the question is about: neither change would gain much.")]


def _not_judged(finding: Finding) -> str:
    return text(
        "{response} is primary but has no chance here: it is a grade, or states no worthwhile difference or no "
        "expected spreads.",
        response=finding.about.response,
    )


def _open(finding: Finding) -> str:
    f = finding.facts
    spread = text(
        "The spreads of {response} come from {source}, with {df} degrees of freedom between specimens. Over what they "
        "leave open the chance of this plan is {mean} on average, and from {low} to {high} in eight cases of ten.",
        response=finding.about.response,
        source=f["source"],
        df=fixed(number_of(finding, "df"), 0),
        mean=percent(number_of(finding, "mean")),
        low=percent(number_of(finding, "low")),
        high=percent(number_of(finding, "high")),
    )
    fewest, most = f["fewest"], f["most"]
    if fewest is None:
        return spread
    upper = text("more than {n}", n=whole(finding, "limit")) if most is None else str(most)
    needed = text(
        "With what each specimen gets here, {chance} needs from {fewest} to {most} specimens of each type.",
        chance=percent(number_of(finding, "asked")),
        fewest=fewest,
        most=upper,
    )
    return f"{spread} {needed}"


def _counts(finding: Finding, name: str) -> str:
    pairs = cast(tuple[tuple[str, int], ...], finding.facts[name])
    return listed([f"{n} {kind}" for kind, n in pairs])


def _two_looks(finding: Finding) -> str:
    currency = cast(str, finding.facts["currency"])
    money = {
        name: money_words(number_of(finding, name), currency)
        for name in ("expected_different", "expected_same", "most", "one")
    }
    told = text(
        "In two looks: {first} are cut and asked first, and grow to {whole} only if not everything is settled. The "
        "first look ends the trial rightly with a chance of {stop_different} if the types differ by the worthwhile "
        "difference, and of {stop_same} if they do not, so {expected_different} or {expected_same} are spent on "
        "average and {most} at most, beside {one} for one look.",
        first=_counts(finding, "first"),
        whole=_counts(finding, "whole"),
        stop_different=percent(number_of(finding, "stop_different")),
        stop_same=percent(number_of(finding, "stop_same")),
        **money,
    )
    cheaper = max(number_of(finding, "expected_different"), number_of(finding, "expected_same")) < number_of(
        finding, "one"
    )
    advice = (
        text(
            "Two looks are cheaper on average: put looks = 2 under [plan], plan the first part, and go on with "
            "`trials extend --settle`."
        )
        if cheaper
        else text("One look is cheaper on average: the second one costs confidence.")
    )
    return f"{told} {advice}"


def _further(finding: Finding) -> str:
    f = finding.facts
    new = cast(tuple[tuple[str, tuple[str, ...]], ...], f["new"])
    pieces = [text("{n} new {kind} ({marks})", n=len(m), kind=kind, marks=", ".join(m)) for kind, m in new]
    if f["again"]:
        again = plural("{n} piece mounted once more", "{n} pieces mounted once more", whole(finding, "again"))
        pieces.append(again)
    repeats = text("all") if f["repeats"] == f["coupons"] else f["repeats"] or text("none")
    coupons = plural("{n} coupon a mount", "{n} coupons a mount", whole(finding, "coupons"))
    each = text("{coupons}, {repeats} of them at today's setting", coupons=coupons, repeats=repeats)
    head = text("The cheapest extension that settles") if f["reached"] else text("The best extension that can be had")
    return text(
        "{head}: {pieces}; {each}. It takes {hours} ({machine} at the machine, {bench} at the bench) and {money}. A "
        "comparison then ends right with a chance of {different} if the types differ by the worthwhile difference, and "
        "of {same} if they do not; what is cut so far has {now_different} and {now_same}.",
        head=head,
        pieces=listed(pieces),
        each=each,
        hours=hours_words(number_of(finding, "hours")),
        machine=fixed(number_of(finding, "machine_hours"), 1),
        bench=fixed(number_of(finding, "bench_hours"), 1),
        money=money_words(number_of(finding, "money"), cast(str, f["currency"])),
        **{name: percent(number_of(finding, name)) for name in ("different", "same", "now_different", "now_same")},
    )


def _by_own(finding: Finding) -> str:
    dfs = cast(tuple[tuple[str, float], ...], finding.facts["dfs"])
    shown = listed([text("{response} {df}", response=name, df=fixed(df, 0)) for name, df in dfs])
    return text(
        "Chances are means over what this trial's own readings leave open of the spreads (degrees of freedom between "
        "specimens: {dfs}); the difference seen so far plays no part.",
        dfs=shown,
    )


SENTENCES: Mapping[StrEnum, Say] = {
    PlanKind.TWO_LOOKS: _two_looks,
    PlanKind.FURTHER_SETTLES: _further,
    PlanKind.FURTHER_BY_OWN: _by_own,
    PlanKind.FURTHER_BY_EXPECTED: lambda f: text(
        "Chances are at the expected spreads: the readings so far show none. The difference seen so far plays no part."
    ),
    PlanKind.COSTS_ASSUMED: _assumed,
    PlanKind.PRICE_UNKNOWN: lambda f: text(
        "No price is stated for {types}: its pieces count as free.", types=listed(f.about.nozzles)
    ),
    PlanKind.PIECES_COUNTED: lambda f: text(
        "Every piece is counted at its price; those that are there already need not be bought."
    ),
    PlanKind.OUT_OF_REACH: _out_of_reach,
    PlanKind.FLOORS: lambda f: text(
        "No plan has fewer than two coupons a mount and two readings a coupon, which other pages need; --bare goes "
        "below."
    ),
    PlanKind.PAGES_LOST: _pages_lost,
    PlanKind.TWO_PLACES: _two_places,
    PlanKind.FEWEST_SHEETS: lambda f: plural(
        "All coupons go on {n} sheet, the fewest that hold them: more sheets cost money and sharpness, but only they "
        "show what differs from sheet to sheet.",
        "The coupons go on {n} sheets, the fewest that hold them; each holds the types in the same proportion.",
        whole(f, "sheets"),
    ),
    PlanKind.SPREADS_OPEN: _open,
    PlanKind.NOT_JUDGED: _not_judged,
    PlanKind.LOOKS_SHARED: lambda f: text(
        "The confidence is shared out over {primaries} and {looks}.",
        primaries=plural("{n} primary response", "{n} primary responses", whole(f, "primaries")),
        looks=plural("{n} look", "{n} looks", whole(f, "looks")),
    ),
}
