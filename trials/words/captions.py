"""Captions of the figures of a verdict, and descriptions for those who cannot see them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from trials.responses import Scale
from trials.standards import edition
from trials.words.language import plural, text
from trials.words.numbers import listed, percent, plain
from trials.words.study import label, spread_words
from trials.words.window import others_words

if TYPE_CHECKING:
    from trials.decide.results import ResponseResult
    from trials.decide.window_result import WindowStudy


def edges_alt(result: ResponseResult, values: str) -> str:
    """The main figure of a response; values: the mean of each type with its interval."""
    return text(
        "{what} of each nozzle type in {response}, with its 95 % interval: {values}.",
        what=_mean(result),
        response=label(result),
        values=values,
    )


def edges_caption(result: ResponseResult, small: bool, pale: bool, judged: bool, still_open: bool) -> str:
    """What the marks of the main figure are.

    small: coupons have marks; pale: some in pale; judged: a stroke at the worst reading; still_open: a ring is drawn.
    """
    what = _mean(result)
    said = [text("Large mark: {what} with its 95 % interval.", what=f"{what[:1].lower()}{what[1:]}")]
    if small:
        mark = text("Small mark: mean of one coupon")
        said.append(text("{small}, pale if cut at other settings.", small=mark) if pale else f"{mark}.")
    if judged:
        said.append(text("Stroke: its worst reading, which is what is judged."))
    if still_open:
        said.append(text("Ring: a reading is still open."))
    return " ".join(said)


def _mean(result: ResponseResult) -> str:
    return text("Mean grade") if result.scale == Scale.GRADE else text("Typical edge")


def ranges_caption(thickness_mm: float, required: bool, hatched: bool = True) -> str:
    """What stands behind the marks of the main figure; required: a limit is asked for; hatched: a zone is."""
    names = {"standard": edition(), "thickness": plain(thickness_mm, "mm")}
    if not hatched:
        return text("Grey zones: ranges of {standard} at {thickness}.", **names)
    if required:
        return text("Grey zones: ranges of {standard} at {thickness}, hatched: requirement not met.", **names)
    return text("Grey zones: ranges of {standard} at {thickness}, hatched: worse than all of them.", **names)


def spread_alt(results: Sequence[ResponseResult]) -> str:
    """How much each source varies."""
    return "; ".join(
        f"{label(result)}: {', '.join(spread_words(part, result) for part in result.spread)}" for result in results
    )


def spread_caption() -> str:
    """How much each source varies."""
    return text("Standard deviation of one edge by source; how much of the variance each source makes, in brackets.")


def settings_alt(result: ResponseResult, settings: Sequence[str]) -> str:
    """Coupons against the settings, named as they are printed."""
    return text(
        "{response} of every coupon against {settings}, one strip per nozzle type, with level means.",
        response=label(result),
        settings=listed(settings),
    )


def settings_caption() -> str:
    """Coupons against the settings."""
    return text("Small marks: coupons. Joined marks: their mean at each level, over all other settings.")


def order_alt(result: ResponseResult) -> str:
    """What is left over in the order of cutting."""
    return text(
        "What is left of {response} after nozzle type and settings, in the order of cutting.", response=label(result)
    )


def order_caption() -> str:
    """What is left over in the order of cutting."""
    return text("What is left after nozzle type and settings; a slope would be wear or lens heating.")


def sides_alt(result: ResponseResult, flagged: Sequence[str]) -> str:
    """What is left over on each side of a mount; flagged: mounts that the check of centring names."""
    said = text(
        "What is left of {response} after nozzle type and settings, side by side for each mount.",
        response=label(result),
    )
    if not flagged:
        return said
    return f"{said} {text('Flagged by the centring check: {mounts}.', mounts=', '.join(flagged))}"


def sides_caption() -> str:
    """What is left over on each side of a mount."""
    return text(
        "What is left on each side of a mount, after nozzle type and settings, around the mean of its sides. A nozzle "
        "off centre has one side worse than the others. Bold and boxed: flagged by the centring check, since its sides "
        "differ by more than coupons inside a mount do; a longer line whose coupons scatter more is not."
    )


def shares_alt(counts: Mapping[str, Mapping[int, int]]) -> str:
    """Coupons of each type by their worst dross grade."""
    said = "; ".join(
        text("{nozzle}: {counts}", nozzle=name, counts=listed([_coupons(grade, n) for grade, n in row.items() if n]))
        for name, row in counts.items()
    )
    return text("Share of the coupons of each nozzle type with each dross grade. {counts}.", counts=said)


def _coupons(grade: int, n: int) -> str:
    return plural("{n} coupon of grade {grade}", "{n} coupons of grade {grade}", n, grade=grade)


def shares_caption() -> str:
    """Coupons of each type by their worst dross grade."""
    return text(
        "Share of the cut coupons by their worst dross grade; the number of coupons stands in the bar, the grade below."
    )


def window_alt(found: WindowStudy) -> str:
    """The maps of all types."""
    values = "; ".join(
        text(
            "{nozzle} safe over {share} by estimate, {bound} shown",
            nozzle=each.nozzle,
            share=percent(each.share_estimate),
            bound=percent(each.share_bound),
        )
        for each in found.types
    )
    return text("Chance that the next edge meets the requirement over two settings: {values}.", values=values)


def window_caption(found: WindowStudy) -> str:
    """The maps of all types."""
    said = [text("White and light: the next edge is likely to meet everything asked, darker: less so.")]
    said += [text("Line: the stated chance by estimate.")] if found.likely else []
    said += [text("Dots: shown with 95 % confidence.")] if found.shown else []
    said.append(
        text(
            "Ring: a setting that was cut; square: today's; diamond: the best. Outside the settings that were cut "
            "nothing is drawn."
        )
    )
    others = others_words(found)
    return " ".join([*said, *([text("All at {settings}.", settings=others)] if others else [])])
