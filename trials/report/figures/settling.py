"""Figure of plans that settle: chance against money."""

from __future__ import annotations

from collections.abc import Sequence

from trials.plan.settling.request import Goal, Option
from trials.report.figures.look import ACCENT, GREY, INK, PALE, canvas, drawn, svg
from trials.words.language import text
from trials.words.numbers import percent


def frontier_figure(line: Sequence[Option], currency: str, goal: Goal) -> str:
    """Chance of a right answer against money, if types differ (solid, discs) and if not (broken, open squares).

    The plan that was found is ringed; a broken line stands at the asked chance. Reads in black and white.
    """
    money = [option.bill.money for option in line]
    different, same = _both(line, goal)
    with canvas(2.9) as (figure, axes):
        axes.plot(money, different, color=ACCENT, lw=1.4, marker="o", ms=5, label=text("if types differ"))
        axes.plot(money, same, color=GREY, lw=1.4, ls="--", marker="s", mfc="white", ms=5, label=text("if they do not"))
        ends = [different[-1], same[-1]]
        axes.scatter([money[-1]] * 2, ends, s=110, facecolors="none", edgecolors=INK, lw=1.1, label=text("this plan"))
        if not goal.has_budget:
            axes.axhline(goal.chance, color=INK, lw=0.9, ls=(0, (4, 2)))
            words, across = f"{text('asked')} ", axes.get_yaxis_transform()
            axes.text(0.0, goal.chance, f" {words}", transform=across, ha="left", va="bottom")
        axes.set_ylim(0, 1.02)
        axes.set_yticks([0.0, 0.2, 0.4, 0.6, 0.8, 1.0], [percent(share) for share in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)])
        axes.grid(axis="y", color=PALE, lw=0.4)
        axes.set_xlabel(drawn(text("money, {currency}", currency=currency)))
        axes.set_ylabel(text("chance of a right answer"))
        figure.legend(loc="outside upper left", ncols=3, columnspacing=1.2)
        return svg(figure)


def _both(line: Sequence[Option], goal: Goal) -> tuple[list[float], list[float]]:
    if goal.all_of_them:
        return [o.chances.all_different for o in line], [o.chances.all_same for o in line]
    return [o.chances.different for o in line], [o.chances.same for o in line]
