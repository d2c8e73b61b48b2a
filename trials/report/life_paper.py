"""Lives by type on paper: the answer, the picture, the tables, what they cannot say."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd

from trials.decide.lives import LifeStudy, TypeLife
from trials.infer.life import LifeRatio
from trials.report import blocks as b
from trials.report.extras import Picture
from trials.report.figures.planning import life_figure
from trials.report.typeset import day_words, pdf
from trials.report.verdict import program


def life_pdf(table: pd.DataFrame, study: LifeStudy, made_on: date) -> bytes:
    """One paper on lives; table: `nozzle, specimen, life, failed`, as it was studied."""
    picture = life_picture(table, study)
    data = {
        "title": f"Lives by nozzle type, {study.unit}",
        "engineer": "",
        "made_on": day_words(made_on),
        "program": program(),
        "sentence": study.sentences[0],
        "sections": [
            b.section("Share still good", [b.figure(picture.svg, picture.alt, picture.caption)]),
            b.section("Lives", [life_table(study), b.listed(study.sentences[1:])]),
            *([b.section("Against today's type", _ratio_blocks(study))] if study.ratios else []),
            b.section("What these lives cannot say", [b.listed(study.cautions)]),
            b.section("Product-limit table", [km_table(study)]),
            b.section("Lives as recorded", [_recorded(table, study)]),
        ],
    }
    return pdf("life_paper.typ", data, made_on)


def life_picture(table: pd.DataFrame, study: LifeStudy) -> Picture:
    """Share of specimens still good over time, by type."""
    own = [table[table["nozzle"] == each.nozzle] for each in study.types]
    svg = life_figure(
        [each.nozzle for each in study.types],
        [part["life"].to_list() for part in own],
        [part["failed"].to_list() for part in own],
        [each.curve for each in study.types],
        study.unit,
    )
    alt = f"Share still good over {study.unit}. {' '.join(study.sentences)}"
    return Picture(
        "Share still good", svg, alt, "Steps: Kaplan-Meier; bars: taken off while good; thin lines: Weibull."
    )


def share_words(quantile: float) -> str:
    """A share failed as a column head: `10 % failed`, and the name of the characteristic life."""
    return "characteristic life" if abs(quantile - 0.632) < 0.001 else f"{100 * quantile:g} % failed"


def life_words(at: Sequence[float]) -> str:
    """Life with its limits: `170 (120 to 240)`, or `above 120` where it has no upper bound."""
    life, low, high = at
    if np.isinf(life):
        return f"above {b.num(low)}"
    return f"{b.num(life)} ({b.num(low)} to {b.num(high) if np.isfinite(high) else 'no bound'})"


def life_table(study: LifeStudy) -> b.Block:
    """Lives by type with limits."""
    head = ["nozzle type", "specimens", "failed", *(share_words(at.quantile) for at in study.types[0].at)]
    rows = [_life_row(each) for each in study.types]
    return b.table(head, rows, right=range(1, len(head)), widths=(2.0, 1.0, 0.8, *(2.0 for _ in head[3:])))


def _life_row(each: TypeLife) -> list[str]:
    lives = [life_words((at.life, at.low, at.high)) for at in each.at]
    return [each.nozzle, str(each.n), str(each.failures), *lives]


def _ratio_blocks(study: LifeStudy) -> list[b.Block]:
    head = ["nozzle type", "against", "at", "shape", "ratio of lives", "p"]
    rows = [ratio_row(ratio) for ratio in (*study.ratios, *study.own_shapes)]
    level = f"{100 * study.confidence:.3g} %"
    return [
        b.table(head, rows, right=(4, 5), widths=(1.6, 1.6, 1.6, 1.1, 1.8, 1.2)),
        b.words(f"Limits by profile likelihood, {level} each, allowing for few failures."),
    ]


def ratio_row(ratio: LifeRatio) -> list[str]:
    """One ratio as cells: type, against, at which share failed, shape, ratio with limits, p."""
    at = "every share" if ratio.common_shape else share_words(ratio.quantile)
    return [
        ratio.of,
        ratio.against,
        at,
        "one for all" if ratio.common_shape else "own",
        ratio_words(ratio),
        b.chance(ratio.p),
    ]


def ratio_words(ratio: LifeRatio) -> str:
    """A ratio with its limits, one-sided where a type never failed."""
    if np.isinf(ratio.ratio):
        return f"at least {b.num(ratio.low)}"
    if ratio.ratio == 0:
        return f"at most {b.num(ratio.high)}"
    return f"{b.num(ratio.ratio)} ({b.num(ratio.low)} to {b.num(ratio.high)})"


def km_table(study: LifeStudy) -> b.Block:
    """Product-limit estimate at each time of failure."""
    rows = []
    for each in study.types:
        found = each.survival
        for line in zip(found.time, found.at_risk, found.failed, found.share, found.low, found.high, strict=True):
            time, risk, gone, share, low, high = line
            limits = f"{b.percent(low)} to {b.percent(high)}"
            rows.append([each.nozzle, f"{time:g}", str(risk), str(gone), b.percent(share), limits])
    head = ["nozzle type", study.unit, "at risk", "failed", "still good", "95 % limits"]
    return b.table(head, rows, right=range(1, 6), widths=(2.0, 1.0, 1.0, 1.0, 1.2, 1.8))


def _recorded(table: pd.DataFrame, study: LifeStudy) -> b.Block:
    rows = [
        [row.nozzle, row.specimen or "–", f"{row.life:g}", "failed" if row.failed else "still good"]
        for row in table.itertuples()
    ]
    return b.table(["nozzle type", "specimen", study.unit, ""], rows, right=(2,), widths=(2.0, 2.0, 1.0, 1.4))
