"""What a plan, its extension and the nozzles in it have to say, as sentences."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, cast

from trials.findings import Amount, Fact, Finding
from trials.plan.kinds import PlanKind
from trials.plan.settings import limit_facts
from trials.units import shown
from trials.words.confounding import SENTENCES as TOLD_APART
from trials.words.language import plural, text
from trials.words.numbers import bare, listed, plain
from trials.words.worthwhile import grade_without_worthwhile

if TYPE_CHECKING:
    from trials.nozzles import Nozzle
    from trials.plan.sheet_map import SheetMap
    from trials.trial import Limit

Say = Callable[[Finding], str]


def whole(finding: Finding, name: str) -> int:
    """A fact that is a whole number."""
    return cast(int, finding.facts[name])


def number_of(finding: Finding, name: str) -> float:
    """A fact that is a number."""
    return cast(float, finding.facts[name])


def names_of(finding: Finding, name: str) -> tuple[str, ...]:
    """A fact that is a row of names."""
    return cast(tuple[str, ...], finding.facts[name])


def amount(fact: Fact) -> str:
    """A figure with its unit as typed, or a word as it is: `0.7 bar`, `fine`."""
    return plain(fact.value, fact.unit) if isinstance(fact, Amount) else str(fact)


def setting_words(setting: Fact) -> str:
    """A setting (factor and level by twos) in words: `pressure 0.7 bar, standoff 1 mm`."""
    pairs = cast(tuple[tuple[str, Fact], ...], setting)
    said = [f"{name.replace('_', ' ')} {amount(level)}" for name, level in pairs]
    return ", ".join(said) or text("the held settings")


def limit_words(limit: Limit, units: Mapping[str, str]) -> str:
    """A limit in words, as printed on plan and run sheet: `double: pressure at most 0.8 bar`; units by factor."""
    return limit_of(limit_facts(limit), units)


def limit_of(facts: Mapping[str, Fact], units: Mapping[str, str] | None = None) -> str:
    """The same from the facts of a finding, which do not know the units."""
    bound = _bound(facts, units or {})
    return text("{nozzle}: {bound}", nozzle=facts["limit_nozzle"], bound=bound) if facts["limit_nozzle"] else bound


def _bound(facts: Mapping[str, Fact], units: Mapping[str, str]) -> str:
    own = cast(tuple[str, ...], facts["limit_factors"])
    names, unit = [name.replace("_", " ") for name in own], units.get(own[0], "")
    low, high = cast(float | None, facts["at_least"]), cast(float | None, facts["at_most"])
    if low is not None and high is not None:
        ends = {"low": bare(low, unit), "high": plain(high, unit)}
        return text("{factor} at least {low} and at most {high}", factor=names[0], **ends)
    if low is not None:
        return text("{what} at least {low}", what=names[0], low=plain(low, unit))
    if high is not None:
        return text("{what} at most {high}", what=names[0], high=plain(high, unit))
    return _together(facts, own, names, units)


def _together(facts: Mapping[str, Fact], own: tuple[str, ...], names: list[str], units: Mapping[str, str]) -> str:
    """A limit of several settings together, in the units of the trial file: their product or sum has no other."""
    stated = [shown(units[name]) for name in own if units.get(name)]
    if facts["product_at_most"] is not None:
        what, most = " x ".join(names), plain(cast(float, facts["product_at_most"]))
        return text("{what} at most {high}", what=what, high=f"{most} {' x '.join(stated)}".strip())
    weights = cast(tuple[float, ...], facts["limit_weights"]) or (1.0,) * len(names)
    what = " + ".join(f"{plain(w)} {name}" for w, name in zip(weights, names, strict=True))
    most = plain(cast(float, facts["sum_at_most"]))
    return text("{what} at most {high}", what=what, high=f"{most} ({', '.join(stated)})" if stated else most)


def described(nozzle: Nozzle) -> str:
    """A nozzle type in one line of trade words; unknown details are left out."""
    words = [
        {
            "cylindrical": text("cylindrical bore"),
            "conical": text("conical bore"),
            "diverging": text("diverging bore"),
        }.get(nozzle.bore or "", ""),
        {"single": text("single wall"), "double": text("double wall")}.get(nozzle.wall or "", ""),
        text("side jets") if nozzle.side_jets else "",
        text("plated") if nozzle.plated else "",
        text("pointed body") if nozzle.point else "",
        text("orifice {size}", size=plain(nozzle.orifice_mm, "mm")) if nozzle.orifice_mm else "",
    ]
    return ", ".join(word for word in words if word) or text("details not given")


def map_notes(drawn: SheetMap) -> list[str]:
    """What stands beside the map of a sheet."""
    if drawn.joints:
        edge = text(
            "The lead-in and the micro-joint are on the edge opposite the measured one; keep corners out of the "
            "readings."
        )
    else:
        edge = text("The lead-in is on the edge opposite the measured one; keep corners out of the readings.")
    first = text("Engrave all marks of the sheet first, with one nozzle, before the first coupon is cut.")
    return [first, edge]


# ---- size and blocks -------------------------------------------------------------------------------------------------


def plan_counts(facts: Mapping[str, Fact]) -> str:
    """`54 coupons in 6 mounts of 6 specimens on 3 sheets`."""

    def count(name: str) -> int:
        return cast(int, facts[name])

    return text(
        "{coupons} in {mounts} of {specimens} on {sheets}",
        coupons=plural("{n} coupon", "{n} coupons", count("coupons")),
        mounts=plural("{n} mount", "{n} mounts", count("mounts")),
        specimens=plural("{n} specimen", "{n} specimens", count("specimens")),
        sheets=plural("{n} sheet", "{n} sheets", count("sheets")),
    )


def _size(f: Finding) -> str:
    return text("{counts}; order and marks drawn at random.", counts=plan_counts(f.facts))


def _times(n: int) -> str:
    return text("not at all") if n == 0 else plural("once", "{n} times", n)


def _sheets_uneven(f: Finding) -> str:
    return text(
        "Nozzle {nozzle}: {mounts} do not divide over {sheets} sheets; sheet {least} holds it {fewest}, another "
        "{most}, so part of the sheet difference stays in its mean.",
        nozzle=f.about.nozzle,
        mounts=plural("{n} mount", "{n} mounts", whole(f, "mounts")),
        sheets=f.facts["sheets"],
        least=listed(names_of(f, "fewest_on")),
        fewest=_times(whole(f, "fewest")),
        most=_times(whole(f, "most")),
    )


def _spacing(f: Finding) -> str:
    return text(
        "Coupons of {length} x {width} stand {gap} apart and {margin} off the sheet's edge (common practice, no "
        "source).",
        length=bare(cast(Amount, f.facts["length"]).value, "mm"),
        width=amount(f.facts["width"]),
        gap=amount(f.facts["gap"]),
        margin=amount(f.facts["margin"]),
    )


def _may_tip(f: Finding) -> str:
    return text(
        "The coupon is {width} wide and the slat pitch {pitch}: it can tip up or fall through, so each coupon keeps a "
        "micro-joint off the measured edge.",
        width=amount(f.facts["width"]),
        pitch=amount(f.facts["pitch"]),
    )


# ---- methods ---------------------------------------------------------------------------------------------------------


def _settings_dealt(f: Finding) -> str:
    coupons = plural("{n} coupon", "{n} coupons", whole(f, "each"))
    if not whole(f, "repeats"):
        return text(
            "Each mount gets {coupons}. No coupon of a mount is set aside for today's setting: all settings are dealt "
            "to the mounts in turn, so that every type meets every setting equally often, to within one coupon.",
            coupons=coupons,
        )
    return text(
        "Each mount gets {coupons}, {repeats} of them at today's setting; the others are dealt to the mounts in turn, "
        "so that every type meets every setting equally often, to within one coupon.",
        coupons=coupons,
        repeats=whole(f, "repeats"),
    )


def _settings_left_out(f: Finding) -> str:
    shown = "; ".join(setting_words(setting) for setting in cast(tuple[Fact, ...], f.facts["settings"]))
    return text(
        "Nozzle {nozzle}: {count} of {of} settings left out by the limit '{limit}': {settings}.",
        nozzle=f.about.nozzle,
        count=f.facts["count"],
        of=f.facts["of"],
        limit=limit_of(f.facts),
        settings=shown,
    )


def _setting_left_out(f: Finding) -> str:
    return text(
        "Nozzle {nozzle}: {setting} left out by the limit '{limit}'.",
        nozzle=f.about.nozzle,
        setting=setting_words(f.facts["setting"]),
        limit=limit_of(f.facts),
    )


def _budget_unused(f: Finding) -> str:
    return text(
        "plan.coupons = {asked} is a budget for other methods; the method '{method}' gives {coupons}.",
        asked=f.facts["asked"],
        method=f.facts["method"],
        coupons=plural("{n} coupon", "{n} coupons", whole(f, "coupons")),
    )


def _bench_study(f: Finding) -> str:
    return text(
        "Measurement study: {coupons} of today's nozzle {nozzle}, cut at {settings} so that the edges differ; each "
        "coupon is measured by each inspector several times at the same place, blind and in random order (column "
        "repeat).",
        coupons=plural("{n} coupon", "{n} coupons", whole(f, "coupons")),
        nozzle=f.about.nozzle,
        settings=plural("{n} setting", "{n} settings", whole(f, "settings")),
    )


def _fraction(f: Finding) -> str:
    if f.facts["resolution"] is None:
        return text(
            "Each mount cuts {settings} settings, the lowest and highest level of each factor: every crossing of them.",
            settings=f.facts["settings"],
        )
    return text(
        "Each mount cuts {settings} settings, the lowest and highest level of each factor: a fraction of resolution "
        "{resolution}.",
        settings=f.facts["settings"],
        resolution=f.facts["resolution"],
    )


def _screening(f: Finding) -> str:
    return text(
        "Each mount cuts {settings} settings that screen {factors} factors: their effects are clear of each other, of "
        "squares and of products of two; squares and products can be told apart only where few matter.",
        **f.facts,
    )


def _surface(f: Finding) -> str:
    where = {
        "corners": text("corners, middles of the faces and centre"),
        "edges": text("middles of the edges and centre"),
    }
    return text(
        "Each mount cuts {settings} settings: {where} of the box that the levels span.",
        settings=f.facts["settings"],
        where=where[str(f.facts["where"])],
    )


def source_words(sources: Sequence[str]) -> str:
    """Sources of spread in a row: `specimen, mount and reading`."""
    known = {
        "sheet": text("sheet"),
        "specimen": text("specimen"),
        "mount": text("mount"),
        "coupon": text("coupon"),
        "reading": text("reading"),
    }
    return listed([known[source] for source in sources])


def _spreads_assumed(f: Finding) -> str:
    return text(
        "No expected spread of {response} is given for {unknown}: the plan counts {assumed} as large as the spread "
        "from coupon to coupon.",
        response=f.about.response,
        unknown=source_words(names_of(f, "unknown")),
        assumed=source_words(names_of(f, "assumed")),
    )


def _chosen_for(f: Finding) -> str:
    aims = {"effects": text("effects (D-criterion)"), "prediction": text("prediction (I-criterion)")}
    return text(
        "Settings chosen for {aim} under the model of the analysis ({coefficients} coefficients: the mean, {terms}).",
        aim=aims[str(f.facts["aim"])],
        coefficients=f.facts["coefficients"],
        terms=", ".join(names_of(f, "terms")),
    )


def _unequal(f: Finding) -> str:
    counts = cast(tuple[tuple[str, int], ...], f.facts["coupons"])
    shown = ", ".join(f"{nozzle} {count}" for nozzle, count in counts)
    return text("The types get unequal numbers of coupons: {counts}.", counts=shown)


def _of_nozzle(template: str) -> Say:
    return lambda f: text(template, nozzle=f.about.nozzle, **f.facts)


def _as_it_stands(template: str) -> Say:
    return lambda f: text(template, **f.facts)


def _counted(one: str, many: str, name: str) -> Say:
    return lambda f: plural(one, many, whole(f, name), nozzle=f.about.nozzle, **_rest(f, name))


def _rest(f: Finding, name: str) -> dict[str, Any]:
    return {key: fact for key, fact in f.facts.items() if key != name}


SENTENCES: Mapping[PlanKind, Say] = {
    PlanKind.AS_WRITTEN: lambda f: str(f.facts["text"]),
    **TOLD_APART,
    PlanKind.SIZE: _size,
    PlanKind.SHEETS_UNEVEN: _sheets_uneven,
    PlanKind.SPACING: _spacing,
    PlanKind.DISTANCE: lambda f: text(
        "Two coupons cut one after the other lie at least {distance} apart, centre to centre, so that one does not "
        "heat the next.",
        distance=amount(f.facts["distance"]),
    ),
    PlanKind.SLATS_UNKNOWN: _as_it_stands(
        "The slat pitch is not given: each coupon keeps a micro-joint off the measured edge; state "
        "the pitch in the trial file, under [coupon], to have it checked."
    ),
    PlanKind.MAY_TIP: _may_tip,
    PlanKind.SETTINGS_DEALT: _settings_dealt,
    PlanKind.SETTINGS_LEFT_OUT: _settings_left_out,
    PlanKind.SETTING_LEFT_OUT: _setting_left_out,
    PlanKind.REPEATS_MOVED: _of_nozzle(
        "Nozzle {nozzle}: today's setting is forbidden, repeats are cut at the nearest allowed one."
    ),
    PlanKind.BUDGET_UNUSED: _budget_unused,
    PlanKind.LIFE_RULE: _as_it_stands(
        "Each specimen is used until its end of life, with the same work for all, or until the trial ends: record its "
        "life and whether it failed; one that is still good when the trial ends counts as such, not as failed."
    ),
    PlanKind.LIFE_MOVED: lambda f: text(
        "Nozzle {nozzle}: today's setting is forbidden, it runs at {setting}.",
        nozzle=f.about.nozzle,
        setting=setting_words(f.facts["setting"]),
    ),
    PlanKind.BENCH_STUDY: _bench_study,
    PlanKind.FRACTION: _fraction,
    PlanKind.SCREENING: _screening,
    PlanKind.SURFACE: _surface,
    PlanKind.PILOT_RULE: _as_it_stands(
        "A pilot: corners of the levels and two coupons at today's setting in each mount. Stop a mount at once and "
        "note why when a cut is not severed, the edge burns, or the head touches sheet or coupon; then bring the "
        "levels closer."
    ),
    PlanKind.PILOT_SPREADS: _as_it_stands(
        "The spreads that `trials fit` prints for specimen, mount, coupon and reading are the expected spreads of the "
        'trial proper: put them under [responses.NAME.expected] with source = "pilot". A pilot answers no question.'
    ),
    PlanKind.CORNERS_LEFT_OUT: _of_nozzle("Nozzle {nozzle}: {count} of {of} corners left out by limits."),
    PlanKind.SPREADS_ASSUMED: _spreads_assumed,
    PlanKind.CHOSEN_FOR: _chosen_for,
    PlanKind.TERMS_NOT_CARRIED: lambda f: text(
        "So few coupons or levels do not carry: {terms}.", terms=", ".join(names_of(f, "terms"))
    ),
    PlanKind.UNEQUAL_COUPONS: _unequal,
    PlanKind.NO_TRUE_REPEATS: _as_it_stands(
        "No type is cut twice at any setting, so the model cannot be checked against true repeats; plan.repeats = "
        "{repeats} forces repeats at today's setting, out of the same budget."
    ),
    PlanKind.BETWEEN_LEVELS: _counted(
        "{n} setting lies on a limit or at today's setting, between the levels.",
        "{n} settings lie on a limit or at today's setting, between the levels.",
        "settings",
    ),
    PlanKind.CYLINDRICAL_HIGH_PRESSURE: _of_nozzle(
        "{nozzle}: a cylindrical bore is mostly for low-pressure oxygen on mild steel."
    ),
    PlanKind.CONICAL_OXYGEN: _of_nozzle("{nozzle}: a conical bore is mostly for high-pressure nitrogen or argon."),
    PlanKind.DOUBLE_WALL_HIGH_PRESSURE: _of_nozzle(
        "{nozzle}: a double wall is mostly run with oxygen on mild steel; with high-pressure {gas} its use is an open "
        "question."
    ),
    PlanKind.SIDE_JETS_PLUG: _of_nozzle(
        "{nozzle}: side jets can plug and the cut then fails fast; look at them at each mount."
    ),
    PlanKind.THIN_WALLS: _of_nozzle(
        "{nozzle}: thin walls between bore and side jets wear sooner; count the pierces of each specimen."
    ),
    PlanKind.POINTED_BODY: _of_nozzle(
        "{nozzle}: a pointed body leaves less area for the height sensor; record the measured standoff."
    ),
    PlanKind.GRADE_WITHOUT_WORTHWHILE: grade_without_worthwhile,
    PlanKind.LOOK_ALIKE: _as_it_stands(
        "Bodies that look the same can differ inside: check the bore and mark each specimen before mounting."
    ),
    PlanKind.STANDOFF_NOT_STEADY: _as_it_stands(
        "At high pressure the edge need not change steadily with standoff: use three standoff levels or more."
    ),
}
