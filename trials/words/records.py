"""Records in words: departures, slips, open work, remarks on files, journal entries, and where a trial stands."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from typing import Any

from trials.findings import Amount, Fact, Finding
from trials.next_command import Before, Next
from trials.record_kinds import JournalKind, RecordKind, Step, Where
from trials.words import columns
from trials.words.language import plural, text
from trials.words.numbers import plain, point

FEW = 8
"""So many marks are named; of more only the number is said."""


def marks(found: tuple[str, ...] | list[str]) -> str:
    """Marks in a row, the first eight of many."""
    if len(found) <= FEW:
        return ", ".join(found)
    return text("{first} and {n} more", first=", ".join(found[:FEW]), n=len(found) - FEW)


def value(fact: Any) -> str:
    """A cell as printed: a figure without needless digits, a word as it is, `empty` for nothing."""
    if isinstance(fact, Amount):
        return plain(fact.value, fact.unit)
    if fact in (None, ""):
        return text("empty")
    return plain(fact) if isinstance(fact, int | float) and not isinstance(fact, bool) else str(fact)


def _facts(finding: Finding) -> dict[str, Any]:
    return {name: _shown(fact) for name, fact in finding.facts.items()}


def _shown(fact: Fact) -> str:
    return marks([str(part) for part in fact]) if isinstance(fact, tuple) else value(fact)


def _count(finding: Finding, name: str) -> int:
    found = finding.facts[name]
    assert isinstance(found, int)
    return found


def _line(template: str) -> Callable[[Finding], str]:
    """Sentence of a kind whose facts fill the template as they are; {mount}, {coupon}, {response} from its subject."""

    def sentence(finding: Finding) -> str:
        about = finding.about
        coupon = about.coupons[0] if about.coupons else ""
        named = {"mount": about.mount, "coupon": coupon, "response": about.response, "nozzle": about.nozzle}
        return text(template, **{**named, "coupons": marks(about.coupons), **_facts(finding)})

    return sentence


def _many(single: str, many: str, counted: str = "") -> Callable[[Finding], str]:
    """Sentence by number: of the coupons it is about, or of the fact named."""

    def sentence(finding: Finding) -> str:
        n = _count(finding, counted) if counted else len(finding.about.coupons)
        facts = {name: fact for name, fact in _facts(finding).items() if name != "n"}
        named = {"response": finding.about.response, "coupons": marks(finding.about.coupons)}
        return plural(single, many, n, **{**named, **facts})

    return sentence


def _lost(finding: Finding) -> str:
    how = {
        "not_severed": text("was not severed"),
        "aborted": text("was aborted"),
        "scrapped": text("was scrapped for a reason unrelated to the cut"),
    }[str(finding.facts["outcome"])]
    note = text(" ({note})", note=finding.facts["note"]) if finding.facts["note"] else ""
    named = {"coupon": finding.about.coupons[0], "nozzle": finding.about.nozzle}
    return text("Coupon {coupon} ({nozzle}) {how}{note}.", how=how, note=note, **named)


def _changed_setting(finding: Finding) -> str:
    column, facts = str(finding.facts["column"]), finding.facts
    named = {"setting": columns.split(column)[0], "coupon": finding.about.coupons[0]}
    was, now = columns.amount(column, facts["was"]), columns.amount(column, facts["now"])
    return text("Coupon {coupon} was cut with {setting} {now}, planned {was}.", now=now, was=was, **named)


def _outside(template: str) -> Callable[[Finding], str]:
    """Sentence of a coupon that was cut outside the plan, its setting by name and unit."""

    def sentence(finding: Finding) -> str:
        column = str(finding.facts["column"])
        named = {end: columns.amount(column, finding.facts[end]) for end in ("now", "low", "high")}
        return text(template, coupon=finding.about.coupons[0], setting=columns.split(column)[0], **named)

    return sentence


def _moved(finding: Finding) -> str:
    n, facts = len(finding.about.coupons), {**_facts(finding), "coupons": marks(finding.about.coupons)}
    if finding.facts["what"] == "mount":
        one = "Coupon {coupons} was cut in mount {now}, planned in {was}."
        return plural(one, "Coupons {coupons} were cut in mount {now}, planned in {was}.", n, **facts)
    one = "Coupon {coupons} was cut on sheet {now}, planned on {was}."
    return plural(one, "Coupons {coupons} were cut on sheet {now}, planned on {was}.", n, **facts)


def _slip(finding: Finding) -> str:
    found, median = finding.facts["value"], finding.facts["median"]
    assert isinstance(found, Amount) and isinstance(median, Amount)
    ratio = found.value / median.value
    times = text("{x} times", x=point(f"{ratio:.3g}")) if ratio >= 1 else text("{x} of", x=point(f"{ratio:.2g}"))
    which = Where(str(finding.facts["where"]))
    named = {
        "coupon": finding.about.coupons[0],
        "reading": finding.facts["reading"],
        "name": finding.about.response,
        "value": value(found),
        "times": times,
        "median": value(median),
    }
    if which is Where.PAIR:
        return text(
            "coupon {coupon}, reading {reading}: {name} {value} is {times} the other reading of its coupon, {median}; "
            "a slip of the pen or a wrong unit?",
            **named,
        )
    others = {
        Where.COUPON: text("its coupon"),
        Where.COUPON_AND_REPEATS: text("its coupon, its repeats among them"),
        Where.LIKE_COUPONS: text("coupons of this nozzle at this setting"),
        Where.TRIAL: text("the trial"),
        Where.WHOLE_LIKE: text("coupons of this nozzle at this setting, as are all readings of its coupon"),
        Where.WHOLE_TRIAL: text("all coupons of the trial, as are all readings of its coupon"),
    }[which]
    return text(
        "coupon {coupon}, reading {reading}: {name} {value} is {times} the median {median} of the other readings of "
        "{others}; a slip of the pen or a wrong unit?",
        others=others,
        **named,
    )


def _decided(found: Finding) -> dict[str, str]:
    """Parts of the sentence about a decision that stands against an older file."""
    facts = found.facts
    reading = text(", reading {reading}", reading=facts["reading"]) if facts.get("reading") else ""
    repeat = text(", repeat {repeat}", repeat=facts["repeat"]) if facts.get("repeat") else ""
    cell = text(" (row {row} of {file})", row=facts["row"], file=facts["file"]) if facts["row"] else ""
    named = {"found": value(facts["found"]), "kept": value(facts["kept"]), "column": str(facts["column"])}
    return {"place": f"{facts['mark']}{reading}{repeat}", "cell": cell, **named}


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    RecordKind.COUPON_LOST: _lost,
    RecordKind.COUPONS_NOT_CUT: _many("Coupon {coupons} was not cut.", "Coupons {coupons} were not cut."),
    RecordKind.ANOTHER_ORDER: _many(
        "Coupon {coupons} was cut in another order than planned.",
        "Coupons {coupons} were cut in another order than planned.",
    ),
    RecordKind.CHANGED_SETTING: _changed_setting,
    RecordKind.OUTSIDE_USED: _outside(
        "Coupon {coupon} lies outside the plan ({setting} {now}, planned {low} to {high}), by no more than half the "
        "planned span: used."
    ),
    RecordKind.OUTSIDE_LEFT_OUT: _outside(
        "Coupon {coupon} lies far outside the plan ({setting} {now}, planned {low} to {high}), by more than half the "
        "planned span: graded, but left out of means, comparisons and chances."
    ),
    RecordKind.COUPONS_MOVED: _moved,
    RecordKind.MOUNT_ADDED: _line("Mount {mount} was added: {fitted} was fitted again."),
    RecordKind.MOUNT_HELD_OTHER: _line("Mount {mount} held {fitted}, planned {was}."),
    RecordKind.MOUNT_ON_OTHER_SHEET: _line("Mount {mount} was on sheet {now}, planned {was}."),
    RecordKind.WINDOW_CHANGED: _line("The protective window was changed during mount {mount} ({fitted})."),
    RecordKind.NOT_CENTRED: _line("Mount {mount} ({fitted}) was not centred."),
    RecordKind.NOT_CALIBRATED: _line("Mount {mount} ({fitted}) was not calibrated for height."),
    RecordKind.SHEET_ADDED: _line("Sheet {sheet} was added."),
    RecordKind.NO_READING: _line("No reading of {response} on {coupons}."),
    RecordKind.FEWER_READINGS: _many(
        "Fewer than the planned {n} reading of {response} on {coupons}.",
        "Fewer than the planned {n} readings of {response} on {coupons}.",
        counted="wanted",
    ),
    RecordKind.NOT_MEASURABLE: _line("{response} could not be measured on {coupons}: {reason}."),
    RecordKind.SLIP: _slip,
    RecordKind.INSTRUMENT_UNKNOWN: _many(
        "Instrument {instrument} measured {n} value and is not in the register.",
        "Instrument {instrument} measured {n} values and is not in the register.",
        counted="values",
    ),
    RecordKind.CALIBRATION_OPEN: _many(
        "Instrument {instrument} measured {n} value on a day that no calibration on record covers, {last}.",
        "Instrument {instrument} measured {n} values on days that no calibration on record covers, the last on {last}.",
        counted="values",
    ),
    RecordKind.READING_UNPLANNED: _line(
        "Reading {reading} of {response} on {coupons}, where the plan asks for {wanted}: a slip of the number?"
    ),
    RecordKind.DATED_LATER: _many(
        "{n} row is dated after the day of its entry, {last}; correct the date.",
        "{n} rows are dated after the day of their entry, the last {last}; correct the dates.",
        counted="rows",
    ),
    RecordKind.SIDE_UNKNOWN: _line(
        "Side {side} on {coupons} is none of {known}: differences between sides are looked for by these words."
    ),
    RecordKind.COUPONS_OPEN: _many(
        "{n} coupon is not recorded as cut.", "{n} coupons are not recorded as cut.", counted="coupons"
    ),
    RecordKind.WITHOUT_READINGS: _many(
        "{n} cut coupon has no readings: {coupons}.", "{n} cut coupons have no readings: {coupons}."
    ),
    RecordKind.READINGS_OPEN: _many(
        "{response}: {n} reading of {wanted} is open.", "{response}: {n} readings of {wanted} are open.", counted="open"
    ),
    RecordKind.REPEATS_OPEN: _many(
        "{response}: {n} repeat of {wanted} is open.", "{response}: {n} repeats of {wanted} are open.", counted="open"
    ),
    RecordKind.CUTS_KNOWN: _many(
        "{n} cut record was already there and equal; ignored.",
        "{n} cut records were already there and equal; ignored.",
        counted="rows",
    ),
    RecordKind.CORRECTION_STANDS: lambda found: text(
        "{place}: {column} {found} was corrected to {kept} since, and that stands; mend the cell{cell}.",
        **_decided(found),
    ),
    RecordKind.WITHDRAWAL_STANDS: lambda found: text(
        "{place}: {column} {found} was withdrawn since, and that stands; empty the cell{cell}.", **_decided(found)
    ),
    RecordKind.READINGS_KNOWN: _many(
        "{n} reading was already there and equal; ignored.",
        "{n} readings were already there and equal; ignored.",
        counted="rows",
    ),
    RecordKind.EQUAL_CELLS: _many(
        "{n} cell repeats an equal one above; ignored.",
        "{n} cells repeat an equal one above; ignored.",
        counted="cells",
    ),
    RecordKind.COLUMNS_LEFT_OUT: _line("Columns left out: {columns}."),
    RecordKind.ROWS_WITHOUT_OUTCOME: _many(
        "{n} row has no outcome yet; left out.", "{n} rows have no outcome yet; left out.", counted="rows"
    ),
    RecordKind.PLANNED_ORDER_TAKEN: _line("No column cut_order: the planned order was taken."),
    RecordKind.READ_AS_LATIN: _line("{file}: not UTF-8; read as Windows-1252 (Latin-1)."),
    RecordKind.NAMES_TAKEN_AS: _line("{column} {found} is taken as {kept}, which differs only in case or spaces."),
    RecordKind.TITLES_PASSED_OVER: _line(
        "{file}: the header was found in row {row}; what stands above was passed over."
    ),
    RecordKind.SHEET_RENAMED: _line("No sheet {wanted}: taken from the sheet {sheet}, the only one with its columns."),
    RecordKind.NOTED_GOOD: _many(
        "{n} note says still good: kept as {ended} in the column ended.",
        "{n} notes say still good: kept as {ended} in the column ended.",
        counted="notes",
    ),
    RecordKind.ORDER_NOT_RANDOM: _line("Adopted table: the order of cutting is not known to be random."),
    RecordKind.WORTHWHILE_ASSUMED: _line(
        "No worthwhile difference was given: {share} is taken until `trials amend` says otherwise."
    ),
}


def instrument(facts: Mapping[str, Any]) -> str:
    """One entry of the register: instrument, calibrated_on, due_on, uncertainty by column, note."""
    day = facts["calibrated_on"]
    parts = [text("calibrated {day}", day=day) if day else text("no calibration stated")]
    parts += [text("due {day}", day=facts["due_on"])] if facts["due_on"] else []
    parts += [
        text("U of {column} {u} (k = 2)", column=columns.split(c)[0], u=columns.amount(c, u))
        for c, u in facts["uncertainty"].items()
    ]
    parts += [facts["note"]] if facts["note"] else []
    return text("{name}: {facts}.", name=facts["instrument"], facts=", ".join(parts))


def entry(kind: JournalKind, facts: Mapping[str, Any]) -> str:
    """What a journal entry says, from its kind and payload; see `trials.store.records.journal` for the payloads."""
    return _ENTRIES[kind](facts)


def _size(facts: Mapping[str, Any]) -> str:
    parts = [
        plural("{n} coupon", "{n} coupons", facts["coupons"]),
        plural("{n} mount", "{n} mounts", facts["mounts"]),
        plural("{n} sheet", "{n} sheets", facts["sheets"]),
    ]
    return ", ".join(parts)


def _block(facts: Mapping[str, Any]) -> str:
    declared = text("declared before cutting") if facts["declared"] else text("not declared before cutting")
    coupons = plural("{n} coupon", "{n} coupons", facts["coupons"])
    return text("block {block}, {coupons}, {declared}", block=facts["block"], coupons=coupons, declared=declared)


def _cuts(facts: Mapping[str, Any]) -> str:
    coupons = plural("{n} coupon", "{n} coupons", facts["coupons"])
    if facts["as_planned"]:
        return text("{coupons}, as planned", coupons=coupons)
    details = plural("{n} mount or sheet", "{n} mounts or sheets", facts["details"])
    return text("{coupons}, {details}", coupons=coupons, details=details)


def _readings(facts: Mapping[str, Any]) -> str:
    coupons = plural("{n} coupon", "{n} coupons", facts["coupons"])
    return plural("{n} reading of {coupons}", "{n} readings of {coupons}", facts["readings"], coupons=coupons)


def _corrected_reading(facts: Mapping[str, Any]) -> str:
    repeat = text(", repeat {repeat}", repeat=facts["repeat"]) if facts["repeat"] else ""
    field, sizes = _was_and_is(facts, facts["field"], text("withdrawn"))
    template = "coupon {coupon}, reading {reading}{repeat}, {field}: {old} -> {new}"
    return text(template, coupon=facts["coupon"], reading=facts["reading"], repeat=repeat, field=field, **sizes)


def _was_and_is(facts: Mapping[str, Any], column: str, nothing: str) -> tuple[str, dict[str, str]]:
    """What a corrected column holds, and what stood there and stands now with the unit; nothing: where none is."""
    ends = {end: nothing if facts[end] is None else columns.amount(column, facts[end]) for end in ("old", "new")}
    return columns.split(column)[0], ends


def change(facts: Mapping[str, Any]) -> str:
    """A correction before it is written: `mark, column, reading, repeat, old, new` (null: withdrawn), `seen_as`."""
    reading = text(", reading {reading}", reading=facts["reading"]) if facts["reading"] else ""
    seen_as = facts["seen_as"]
    repeat = text(", repeat {repeat}", repeat=facts["repeat"]) if facts["repeat"] and not seen_as else ""
    column, sizes = _was_and_is(facts, facts["column"], text("withdrawn"))
    template = "{mark}{reading}{repeat}, {column}: {old} -> {new}"
    return text(template, mark=seen_as or facts["mark"], reading=reading, repeat=repeat, column=column, **sizes)


def _corrected_row(facts: Mapping[str, Any]) -> str:
    column, sizes = _was_and_is(facts, facts["column"], text("empty"))
    what = {"coupon": text("coupon"), "mount": text("mount"), "sheet": text("sheet")}[facts["of"]]
    return text("{what} {mark}, {column}: {old} -> {new}", what=what, mark=facts["mark"], column=column, **sizes)


def _changed_key(facts: Mapping[str, Any]) -> str:
    return text("{key}: {old} -> {new}", key=facts["key"], old=facts["old"], new=facts["new"])


def _confirmed(facts: Mapping[str, Any]) -> str:
    field = columns.split(facts["field"])[0]
    named = {name: facts[name] for name in ("coupon", "reading")}
    found = columns.amount(facts["field"], facts["value"])
    return text("coupon {coupon}, reading {reading}, {field} {value}", field=field, value=found, **named)


def retired(specimen: str, nozzle: str, who: str, left: int, open_coupons: Sequence[str]) -> list[str]:
    """A retirement: who, what is left of the type, and what is to become of coupons that were planned with it."""
    said = [
        text("Specimen {specimen} ({nozzle}) retired by {who}.", specimen=specimen, nozzle=nozzle, who=who),
        plural("{n} specimen of {nozzle} is left.", "{n} specimens of {nozzle} are left.", left, nozzle=nozzle),
    ]
    if open_coupons:
        said.append(
            plural(
                "{n} coupon planned with it has no cut record: {marks}. Enter it as not_cut with the reason, or the "
                "mount with the specimen that took its place.",
                "{n} coupons planned with it have no cut record: {marks}. Enter them as not_cut with the reason, or "
                "the mount with the specimen that took its place.",
                len(open_coupons),
                marks=marks(list(open_coupons)),
            )
        )
    return said


def _adopted(facts: Mapping[str, Any]) -> str:
    rows = plural("{n} row", "{n} rows", facts["rows"])
    coupons = plural("{n} coupon", "{n} coupons", facts["coupons"])
    return text("{file}: {rows}, {coupons}", file=facts["file"], rows=rows, coupons=coupons)


_ENTRIES: Mapping[JournalKind, Callable[[Mapping[str, Any]], str]] = {
    JournalKind.FROZEN: _size,
    JournalKind.PLAN: lambda facts: str(facts["text"]),
    JournalKind.AMENDED: _changed_key,
    JournalKind.LOTS: _changed_key,
    JournalKind.BLOCK_ADDED: _block,
    JournalKind.CUTS_RECORDED: _cuts,
    JournalKind.READINGS_RECORDED: _readings,
    JournalKind.READING_CORRECTED: _corrected_reading,
    JournalKind.CUT_CORRECTED: _corrected_row,
    JournalKind.MOUNT_CORRECTED: _corrected_row,
    JournalKind.SHEET_CORRECTED: _corrected_row,
    JournalKind.SLIP_CONFIRMED: _confirmed,
    JournalKind.INSTRUMENT: instrument,
    JournalKind.RETIRED: lambda facts: text(
        "specimen {specimen} ({nozzle}) retired", specimen=facts["specimen"], nozzle=facts["nozzle"]
    ),
    JournalKind.REPEAT_MARKS: lambda facts: plural(
        "second mark for {n} coupon that is measured again",
        "second marks for {n} coupons that are measured again",
        facts["coupons"],
    ),
    JournalKind.ADOPTED: _adopted,
    JournalKind.VERDICT: lambda facts: text("look {look} kept", look=facts["look"]),
    JournalKind.PROVISIONAL: lambda facts: text("verdict read while a reading was open"),
}


def step_name(step: Step) -> str:
    """A step as the table of `status` names it."""
    return {
        Step.PLAN: text("plan"),
        Step.CUT: text("cut"),
        Step.MEASURED: text("measured"),
        Step.VERDICT: text("verdict"),
    }[step]


def step_note(step: Step, facts: Mapping[str, Any]) -> str:
    """What else there is to say of a step; facts as in `trials.steps.status.StepState`."""
    return _NOTES[step](facts)


def _plan_note(facts: Mapping[str, Any]) -> str:
    return text("frozen {day}", day=facts["frozen_on"]) if facts["frozen_on"] else text("not frozen yet")


def _cut_note(facts: Mapping[str, Any]) -> str:
    lost = {
        "not_severed": text("{n} not severed", n=facts.get("not_severed")),
        "aborted": text("{n} aborted", n=facts.get("aborted")),
        "scrapped": text("{n} scrapped", n=facts.get("scrapped")),
        "not_cut": text("{n} left uncut", n=facts.get("not_cut")),
    }
    return ", ".join(words for kind, words in lost.items() if facts.get(kind))


def _verdict_note(facts: Mapping[str, Any]) -> str:
    if facts["up_to_date"] is None:
        return text("none yet")
    return text("up to date") if facts["up_to_date"] else text("records changed since")


_NOTES: Mapping[Step, Callable[[Mapping[str, Any]], str]] = {
    Step.PLAN: _plan_note,
    Step.CUT: _cut_note,
    Step.MEASURED: lambda facts: plural("{n} value", "{n} values", facts["values"]),
    Step.VERDICT: _verdict_note,
}


def later_block(block: int, added_on: str, cut: int, coupons: int, declared: bool) -> str:
    """The state of a block that was added later."""
    state = text("declared") if declared else text("exploratory")
    template = "block {block} added {day}, {cut} of {coupons} cut, {state}"
    return text(template, block=block, day=added_on, cut=cut, coupons=coupons, state=state)


def next_words(following: Next) -> str:
    """What to do next, with the commands as typed."""
    command = following.command.typed()
    if following.open:
        return text("open {file}; `{command}` shows the numbers", file=following.open, command=command)
    if following.before is Before.LOOK and following.instead:
        return text(
            "look at coupon {coupon} again, then `{command}`, or `{instead}` if it is right as it is",
            coupon=following.coupon,
            command=command,
            instead=following.instead.typed(),
        )
    if following.instead:
        return text("{command}, or `{instead}`", command=command, instead=following.instead.typed())
    before = {
        Before.CUT: text("cut the coupons, then `{command}`", command=command),
        Before.MEASURE: text("measure at the bench, then `{command}`", command=command),
        Before.NAME_INSTRUMENT: text("name the instrument beside each reading, then `{command}`", command=command),
        Before.FILL_IN: text(
            "fill in the column outcome of what was cut, then the same command again: `{command}`", command=command
        ),
    }
    return before.get(following.before, command) if following.before else command
