"""The papers of the cutting day and of the bench, in words: run sheet, bench card, labels."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from trials.words.language import plural, text, word
from trials.words.numbers import plain
from trials.words.sides import edge_head, edge_of_mark


def stop_rules() -> list[str]:
    """When to stop at the machine, and what to write down."""
    return [
        text(
            "Not severed: stop the cut, write “not severed”, leave the coupon in the sheet, go on with the next. Three "
            "in a row with one mount: stop and tell the engineer."
        ),
        text(
            "Burning or self-sustained fire in the kerf: stop the beam and the oxygen, let it go out, write “aborted”."
        ),
        text(
            "Head contact or tip-up: stop the machine. Check the nozzle, centre and calibrate, write it in as a new "
            "mount."
        ),
        text(
            "Anything else that is not as planned (another setting, another order, a refitted nozzle): cut safely "
            "first, then write down what was really done."
        ),
    ]


def bench_steps(measured: Collection[str]) -> list[list[str]]:
    """The order of work at the bench: a step and how it is done; only what the trial measured (names of responses)."""
    dross = bool({"dross", "dross_height"} & set(measured))
    edge = bool({"roughness", "squareness", "drag", "kerf"} & set(measured))
    parts = [
        (True, _cool()),
        (dross, _grade_dross()),
        (edge, _clean(dross)),
        ("squareness" in measured, _square()),
        ("roughness" in measured, _rough()),
        (True, _write()),
    ]
    return [list(step) for wanted, step in parts if wanted]


def _cool() -> tuple[str, str]:
    how = text("Measure cold coupons only, at the temperature of the bench. Work in the order of the workbook.")
    return text("Let it cool"), how


def _grade_dross() -> tuple[str, str]:
    how = text("Grade the lower edge before anything is taken off. The worst spot of the edge counts.")
    return text("Dross first"), how


def _clean(graded: bool) -> tuple[str, str]:
    how = text("Scraper, then a brush for loose oxide. Never grind, file or blast: the edge is what is judged.")
    return text("Take the dross off") if graded else text("Clean the edge"), how


def _square() -> tuple[str, str]:
    how = text("Find the edge to measure. Keep clear of lead-in, joint, corners and slat marks.")
    return text("Squareness u"), how


def _rough() -> tuple[str, str]:
    how = text("Along the edge at the stated depth, at the same places each time, across no slat mark or bead.")
    return text("Roughness Rz5"), how


def _write() -> tuple[str, str]:
    how = text(
        "Every reading as shown by the instrument, with side and inspector. A doubtful value is measured again in a "
        "spare row, with the reason; nothing is rubbed out."
    )
    return text("Write it down"), how


def where(readings: Mapping[str, int], cutoff_mm: float | None) -> list[str]:
    """How many readings (by the label of the response), on which edge, and how long a trace of Rz5 is.

    cutoff_mm: None where no roughness is measured.
    """
    parts = [text("{label}: {n} on each coupon", label=word(label), n=n) for label, n in readings.items()]
    lines = [
        text("Readings: {parts}.", parts="; ".join(parts)),
        text("Measure the edge that stands beside the mark, always at the same places."),
    ]
    if cutoff_mm is not None:
        length = plain(6 * cutoff_mm, "mm")
        lines.append(
            text(
                "Rz5: cut-off {cutoff}, five lengths and half a cut-off at each end, so {length} of clean edge.",
                cutoff=f"{plain(cutoff_mm)} mm",
                length=length,
            )
        )
    return lines


def depths_unknown() -> str:
    """What to do where the coupons differ in thickness."""
    return text("Depths depend on the thickness of the coupon: ask the engineer for them.")


def rz5_depth(thickness_mm: float, depth_mm: float) -> str:
    """Where Rz5 is taken on an edge of one thickness."""
    return text(
        "Rz5: {depth} below the top face ({thickness} thick); write the depth down if it differs.",
        depth=plain(depth_mm, "mm"),
        thickness=plain(thickness_mm, "mm"),
    )


def u_depths(left_out_mm: float) -> str:
    """Where u is taken."""
    return text(
        "u: from {out} below the top face to {out} above the lower one; leave the rest out.",
        out=plain(left_out_mm, "mm"),
    )


def varied(setting: str, levels: Sequence[str], unit: str, today: str) -> str:
    """A factor with its levels and today's."""
    return text(
        "{setting}: {levels} (today {today})",
        setting=setting,
        levels=f"{', '.join(levels)} {unit}".strip(),
        today=today,
    )


def coupon_heads(settings: Sequence[str]) -> list[str]:
    """Heads of the table of coupons of one mount."""
    return [text("No."), text("Coupon"), *settings, edge_head()]


def list_heads() -> list[str]:
    """Heads of the lists on the bench card."""
    return [text("No."), text("Coupon"), edge_head()]


def coupon_list() -> tuple[str, str]:
    """Title of the list of coupons on the bench card, and what to know."""
    tick = text("Tick each one off when all its readings are written down.")
    return text("Coupons in the order of measuring"), f"{edge_of_mark()} {tick}"


def repeat_list() -> tuple[str, str]:
    """Title of the list of repeats on the bench card, and what to know."""
    return (
        text("Repeats, in an order of their own"),
        text(
            "Coupons that come again under other marks, in a workbook of their own. Measure them after a break or on "
            "another day, as if for the first time; no dross."
        ),
    )


def repeat_labels_title(title: str) -> str:
    """Title of the labels of the repeats."""
    return text("Labels of the repeats: {title}", title=title)


def repeat_labels_said() -> str:
    """Who uses them, and how."""
    return text(
        "Not for the bench. Whoever does not measure cuts out each label and sticks it over the engraved mark of the "
        "coupon beside it, the same way up, once its first readings are recorded. Keep this page: it tells which is "
        "which."
    )


def covers(coupon: str) -> str:
    """Which coupon a label of the repeats goes on."""
    return text("over {coupon}", coupon=coupon)


def map_title(sheet: object) -> str:
    """Title of the map of a sheet."""
    return text("Sheet {sheet}", sheet=sheet)


def map_alt(sheet: object, coupons: int) -> str:
    """The map of a sheet for who cannot see it."""
    return plural(
        "Map of sheet {sheet}: {n} coupon with mark, order and measured edge.",
        "Map of sheet {sheet}: {n} coupons with mark, order and measured edge.",
        coupons,
        sheet=sheet,
    )


def edge_alt() -> str:
    """The drawing of the edge for who cannot see it."""
    return text(
        "The cut edge from the side: ends and corners left out, depths for u and Rz5, a slat mark to keep clear of."
    )


def dross_alt(grade: int, name: str) -> str:
    """The drawing of a dross grade for who cannot see it."""
    return text("Drawing of dross grade {grade}: {name}.", grade=grade, name=name)


def run_sheet_title(title: str) -> str:
    """Title of the run sheet."""
    return text("Run sheet: {title}", title=title)


def mount_title(mount: str, nozzle: str, specimen: str, sheet: str) -> str:
    """Title of the block of one mount."""
    return text(
        "Mount {mount}: {nozzle}, specimen {specimen}, on sheet {sheet}",
        mount=mount,
        nozzle=nozzle,
        specimen=specimen,
        sheet=sheet,
    )


def not_allowed(limits: Sequence[str]) -> str:
    """Settings that no coupon has."""
    return text("Not allowed above: {limits}.", limits="; ".join(limits))


def footer(title: str, made_on: str, program: str) -> str:
    """Foot of the papers."""
    return text("{title} · made on {day} · {program}", title=title, day=made_on, program=program)


def labels_footer(title: str, coupons: int) -> str:
    """Foot of the labels."""
    return plural(
        "{title} · {n} coupon, in the order of measuring",
        "{title} · {n} coupons, in the order of measuring",
        coupons,
        title=title,
    )


def labels_title(title: str) -> str:
    """Title of the labels."""
    return text("Coupon labels: {title}", title=title)


def label_place(place: int) -> str:
    """On a label: the place in the order of measuring."""
    return text("measure {place}", place=place)


def run_sheet_words() -> dict[str, str | list[str]]:
    """Headings and fixed lines of the run sheet, by the name that the page knows them by."""
    return {
        "question": text("Question"),
        "held": text("Held for the whole trial"),
        "nothing_held": text("Nothing was named; write the settings of the machine here."),
        "varied": text("Varied inside a mount"),
        "nothing_varied": text("Nothing; all coupons are cut alike."),
        "said": text("What this plan cannot tell apart, and how it is laid out"),
        "stop": text("When to stop"),
        "nozzles": text("Nozzles in this trial (common practice, no source)"),
        "cautions": text("Cautions"),
        "sheets": text("Sheets"),
        "sheet_head": [text("Sheet"), text("Heat or lot"), text("Surface"), text("Gas purity"), text("Used")],
        "mounts": text("Mounts in order"),
        "mount_head": [text("No."), text("Mount"), text("Sheet"), text("Nozzle type"), text("Specimen")],
        "before": text("Before mounting:"),
        "bore": text("bore looked into and specimen mark read:"),
        "ticks": [text("nozzle centred"), text("height calibrated"), text("window changed")],
        "pierces": text("pierces before"),
        "fitted": text("fitted at"),
        "outcome_head": [text("cut"), text("not severed"), text("aborted"), text("scrapped")],
        "open_head": [text("Time"), text("Setting changed"), text("Note")],
        "coupons": text("Mounts and their coupons"),
        "outcomes": text(
            "In the order printed, unless safety asks otherwise. Tick what became of each coupon; scrapped: for a "
            "reason that has nothing to do with the cut. A nozzle taken off and fitted again is a new mount."
        ),
        "map": text(
            "Mark and order of cutting with the direction of travel; thick: edge to measure; thin tick outside: "
            "lead-in; gap: micro-joint."
        ),
        "frozen": text("Frozen settings:"),
        "sign": [text("Cut by (name)"), text("Signature"), text("Date")],
    }


def bench_card_words() -> dict[str, str | list[str]]:
    """Headings and fixed lines of the bench card, by the name that the page knows them by."""
    return {
        "blind": text(
            "One card for the bench. It names no nozzle and no setting: the marks on the coupons are all you need."
        ),
        "order": text("In this order"),
        "order_head": [text("Step"), text("How")],
        "where": text("Where and how many"),
        "dross": text("Dross of the lower edge"),
        "scale": text(
            "Seen from the cut face, lower edge at the bottom. This scale is the project’s own; no standard numbers "
            "dross."
        ),
        "unsure": text("If in doubt"),
        "unsure_text": text(
            "A value ten times its neighbours is mostly a slip of the point or the unit: measure again before it is "
            "sent. Where a place cannot be measured, write that it is not measurable, with a note why."
        ),
    }


def bench_card_title() -> str:
    """Title of the bench card."""
    return text("Bench card")


def limits_title(standard: str, thickness_mm: float) -> str:
    """Title of the limits on the bench card."""
    return text("Upper limits of {standard} at {at}", standard=standard, at=plain(thickness_mm, "mm"))


def limits_head() -> list[str]:
    """Heads of the limits on the bench card."""
    return ["", *(text("range {n}", n=n) for n in range(1, 6))]
