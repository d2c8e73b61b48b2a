"""Make the invented example data again: `python example_data/make.py`.

Nothing here was measured. Each trial is planned from its `trial.toml`, then cut by a small made-up physics of the gas
jet (not by the model that analyses it): the pressure that reaches the work falls with standoff over orifice, each
nozzle type has a pressure it likes best and its own penalty below and above it, spreads differ between types, nozzles
wear with every pierce and the lens warms over the day. Then a shop happens to the data: an off-centre mount, two cuts
lost, coupons cut out of order, a refitted nozzle, a setting misdialled, a slip of the pen. The truth goes beside the
data, with the chance of a good edge from a large simulation. Every figure is invented, and the seeds were picked among
a few dozen so that the first trial ends with three different answers.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from trials.grade.iso9013 import roughness_limit, squareness_limit
from trials.plan.choose import Plan, make_plan
from trials.standards import roughness_depth_mm
from trials.trial import Trial, parse

HERE = Path(__file__).parent
INVENTED = "Invented data: no such trial was cut, nothing here was measured."
DRAWS = 200_000
LATE_BY = 3
REFITTED_AFTER = 2
SIDES = {"left": 0.0, "near": 90.0, "right": 180.0, "far": 270.0}
SIDE_OFF_CENTRE = "left"
Array = np.ndarray
Setting = tuple[float, float]
"""Pressure in bar and standoff in mm."""


@dataclass(frozen=True)
class Kind:
    """What one nozzle type does (typical specimen, new, centred)."""

    rz_um: float  # Rz5 at its best pressure
    best_bar: float  # pressure at the work that it likes best
    below: float  # penalty on log Rz5 per squared log ratio, under that pressure
    above: float  # the same over it
    loses: float  # how fast the jet loses pressure with standoff over orifice
    orifice_mm: float
    u_mm: float
    dross: float  # dross at its best, on a hidden scale on which a grade is one step
    specimen: float  # spreads on log Rz5
    coupon: float
    reading: float
    wear: float  # log Rz5 per hundred pierces


@dataclass(frozen=True)
class World:
    """One machine, material and day."""

    kinds: dict[str, Kind]
    pressure: Callable[[Kind, Array, Array], Array]
    sheet: float = 0.03
    mount: float = 0.02
    lens: float = 0.10  # log Rz5 that a warm lens adds in the long run
    lens_coupons: float = 60.0
    spatter: float = 0.016  # log Rz5 per pierce since the nozzle was fitted and cleaned
    taper: float = 0.05  # mm of u per unit of standoff over orifice
    u_noise: tuple[float, float, float, float] = (0.006, 0.004, 0.007, 0.007)  # specimen, mount, coupon, reading; mm
    off_centre_u: float = 0.11
    off_centre_rz: float = 0.12
    u_digits: int = 2
    instrument: str = "square and feeler gauge"
    seed: int = 1
    start: datetime = datetime(2025, 3, 11, 7, 30)


@dataclass(frozen=True)
class Mishaps:
    """What went wrong, by the planned marks; filled when the day is simulated."""

    off_centre: str
    not_severed: str
    scrapped: str
    slip: tuple[str, int]
    late: str
    refitted: str | None
    misdialled: tuple[str, str] | None
    said: dict[str, str] = field(default_factory=dict)


def oxygen_pressure(kind: Kind, bar: Array, standoff_mm: Array) -> Array:
    """Pressure at the work, bar: a subsonic jet that spreads on its way."""
    return bar * np.exp(-kind.loses * (standoff_mm / kind.orifice_mm) ** 1.5)


def nitrogen_pressure(kind: Kind, bar: Array, standoff_mm: Array) -> Array:
    """Pressure at the work, bar: an under-expanded jet whose shock cells make it swing with standoff."""
    cell = 0.67 * kind.orifice_mm * np.sqrt((bar + 1.0) / 4.0)
    swing = 1.0 - 0.10 * np.cos(2.0 * np.pi * standoff_mm / cell)
    return bar * swing * np.exp(-kind.loses * standoff_mm / kind.orifice_mm)


def edge(world: World, kind: Kind, bar: Array, standoff_mm: Array) -> tuple[Array, Array, Array]:
    """Typical (log Rz5 in um, u in mm, hidden dross) of a new, centred nozzle with a cold lens."""
    off = np.log(world.pressure(kind, bar, standoff_mm) / kind.best_bar)
    log_rz = np.log(kind.rz_um) + np.where(off < 0, kind.below, kind.above) * off**2
    u = kind.u_mm + world.taper * (standoff_mm / kind.orifice_mm) ** 1.3 + 0.06 * off**2
    dross = kind.dross + np.where(off < 0, 2.2, 0.6) * np.abs(off)
    return log_rz, u, dross


def lens(world: World, cut_order: Array) -> Array:
    """Log Rz5 that the warming lens adds by the n-th cut of the day."""
    return world.lens * (1.0 - np.exp(-np.asarray(cut_order, dtype=float) / world.lens_coupons))


def towards(side: Array) -> Array:
    """1 on the side an off-centre nozzle leans to, -0.4 at most on the other."""
    angle = np.array([SIDES[name] - SIDES[SIDE_OFF_CENTRE] for name in side])
    return np.maximum(np.cos(np.radians(angle)), -0.4)


# ---------------------------------------------------------------- what happens on the day


def cut_table(trial: Trial, plan: Plan, world: World, mishaps: Mishaps) -> pd.DataFrame:
    """The cuts as they happened, with the settings really used."""
    cuts = plan.coupons.copy()
    planned = cuts["coupon"].to_list()
    place = planned.index(mishaps.late)
    planned.insert(place + LATE_BY, planned.pop(place))
    cuts["cut_order"] = cuts["coupon"].map({mark: i for i, mark in enumerate(planned, 1)})
    cuts = cuts.sort_values("cut_order").reset_index(drop=True)
    cuts["outcome"], cuts["changed_setting"], cuts["note"] = "cut", "", ""
    _note(cuts, mishaps.not_severed, "outcome", "not_severed", "did not drop, bottom still joined")
    _note(cuts, mishaps.scrapped, "outcome", "scrapped", "fell between the slats, edge bruised by the scrap below")
    _note(cuts, mishaps.late, "note", "forgotten at first, cut later")
    if mishaps.misdialled:
        mark, setting = mishaps.misdialled
        _note(cuts, mark, "changed_setting", setting, "dialled wrong, seen after the cut")
        column, value = setting.split("=")
        cuts.loc[cuts["coupon"] == mark, column] = float(value)
    if mishaps.refitted:
        later = (cuts["mount"] == mishaps.refitted) & (cuts.groupby("mount").cumcount() >= REFITTED_AFTER)
        cuts.loc[later, "mount"] = f"{mishaps.refitted}b"
    cuts["cut_at"] = _times(cuts, world.start)
    return cuts


def _note(cuts: pd.DataFrame, mark: str, column: str, value: str, note: str = "") -> None:
    cuts.loc[cuts["coupon"] == mark, column] = value
    if note:
        cuts.loc[cuts["coupon"] == mark, "note"] = note


def _times(cuts: pd.DataFrame, start: datetime) -> list[str]:
    """Four minutes a coupon, twelve a mount, twenty a sheet."""
    now, times, before = start, [], (None, None)
    for row in cuts.itertuples():
        now += timedelta(minutes=4 + 12 * (row.mount != before[0]) + 20 * (row.sheet != before[1]))
        before = row.mount, row.sheet
        times.append(now.isoformat(timespec="minutes"))
    return times


def _earlier(moment: str, minutes: int) -> str:
    return (datetime.fromisoformat(moment) - timedelta(minutes=minutes)).isoformat(timespec="minutes")


def mount_table(plan: Plan, cuts: pd.DataFrame, mishaps: Mishaps, rng: np.random.Generator) -> pd.DataFrame:
    """One row per mount as fitted; specimens are part worn, not new."""
    first = cuts.groupby("mount", sort=False).first()
    worn = {piece: int(rng.integers(0, 160)) for piece in sorted(set(plan.mounts["specimen"]))}
    rows, changes = [], set(rng.choice(first.index[1:], size=1))
    for mount, row in first.iterrows():
        refit = mishaps.refitted is not None and mount == f"{mishaps.refitted}b"
        rows.append(
            {
                "mount": mount,
                "nozzle": row["nozzle"],
                "specimen": row["specimen"],
                "fitted_at": _earlier(row["cut_at"], 8),
                "centring_checked": "no" if mount == mishaps.off_centre else "yes",
                "height_calibrated": "yes",
                "pierces_before": worn[row["specimen"]] + (REFITTED_AFTER if refit else 0),
                "window_changed": "yes" if mount in changes else "no",
            }
        )
    return pd.DataFrame(rows)


def effects(world: World, cuts: pd.DataFrame, mounts: pd.DataFrame, mishaps: Mishaps, rng: np.random.Generator) -> dict:
    """Everything that a coupon carries before it is read: log Rz5, u and hidden dross, one value per cut."""
    names = {"specimen": sorted(set(cuts["specimen"])), "mount": sorted(set(cuts["mount"]))}
    names["sheet"] = sorted(set(cuts["sheet"]))
    z = {key: {label: rng.standard_normal(3) for label in labels} for key, labels in names.items()}
    drawn = {key: np.array([z[key][label] for label in cuts[key]]) for key in z}
    kinds = [world.kinds[name] for name in cuts["nozzle"]]
    typical = np.array(
        [edge(world, k, p, s) for k, p, s in zip(kinds, cuts["pressure_bar"], cuts["standoff_mm"], strict=True)]
    )
    worn = dict(zip(mounts["mount"], mounts["pierces_before"], strict=True))
    since = cuts.groupby("mount").cumcount().to_numpy()
    pierces = np.array([worn[m] for m in cuts["mount"]]) + since
    rz = typical[:, 0] + world.sheet * drawn["sheet"][:, 0] + world.mount * drawn["mount"][:, 0]
    rz += np.array([k.specimen for k in kinds]) * drawn["specimen"][:, 0] + lens(world, cuts["cut_order"])
    rz += np.array([k.wear for k in kinds]) * pierces / 100.0 + world.spatter * since
    rz += np.array([k.coupon for k in kinds]) * rng.standard_normal(len(cuts))
    specimen, mount, coupon, _ = world.u_noise
    u = typical[:, 1] + specimen * drawn["specimen"][:, 1] + mount * drawn["mount"][:, 1]
    u += coupon * rng.standard_normal(len(cuts))
    dross = typical[:, 2] + 0.25 * drawn["specimen"][:, 2] + 0.35 * rng.standard_normal(len(cuts))
    leaning = (cuts["mount"] == mishaps.off_centre).to_numpy() * towards(cuts["edge"])
    return {
        "rz": rz + world.off_centre_rz * leaning,
        "u": u + world.off_centre_u * leaning,
        "dross": dross + 1.2 * (cuts["mount"] == mishaps.off_centre).to_numpy(),
    }


def grade_of(dross: Array) -> Array:
    """Dross grade 0 to 4 from the hidden scale."""
    return np.clip(np.floor(dross), 0, 4).astype(int)


def reading_table(
    trial: Trial, world: World, cuts: pd.DataFrame, carried: dict, mishaps: Mishaps, rng: np.random.Generator
) -> pd.DataFrame:
    """Readings as two inspectors type them, coupons in the bench's own random order, one in ten read again."""
    number = trial.responses["roughness"].readings
    bench = [i for i in rng.permutation(len(cuts)) if cuts["outcome"][i] == "cut"]
    again = set(rng.choice(bench, size=round(trial.bench.repeat_share * len(bench)), replace=False))
    depth, rows = roughness_depth_mm(trial.application.thickness_mm), []
    for place, i in enumerate(bench):
        kind = world.kinds[cuts["nozzle"][i]]
        day = date(2025, 3, 12) + timedelta(days=place // 45)
        common = {"coupon": cuts["coupon"][i], "side": cuts["edge"][i], "instrument": world.instrument}
        common |= {"cutoff_mm": trial.bench.cutoff_mm, "depth_mm": f"{depth:g}", "measured_on": day.isoformat()}
        dross = int(grade_of(carried["dross"][i]))
        height = 0.0 if dross == 0 else round(0.15 * dross + abs(rng.normal(0, 0.08)), 2)
        standoff = cuts["standoff_mm"][i] + rng.normal(0.0, 0.03) + (0.08 if "pointed" in cuts["nozzle"][i] else 0.0)
        for reading in range(1, number + 1):
            rz = np.exp(carried["rz"][i] + kind.reading * rng.standard_normal())
            u = max(carried["u"][i] + world.u_noise[3] * rng.standard_normal(), 0.0)
            first = reading == 1
            row = {
                "reading": reading,
                "repeat": 0,
                **_typed(rz, u, world),
                "dross_grade": dross if first else "",
                "dross_height_mm": f"{height:.2f}" if first else "",
                "standoff_measured_mm": f"{standoff:.2f}" if first else "",
                "inspector": "AB" if place % 2 else "CD",
                "note": "",
            }
            rows.append(common | row)
            if first and i in again:
                rz_again, u_again = rz * np.exp(0.02 * rng.standard_normal()), max(u + 0.003 * rng.standard_normal(), 0)
                other = {"repeat": 1, "inspector": "CD" if place % 2 else "AB", "note": "measured again"}
                rows.append(
                    common | row | _typed(rz_again, u_again, world) | other | dict.fromkeys(row.keys() & _ONCE, "")
                )
    return _slip(pd.DataFrame(rows)[list(_READING_COLUMNS)], mishaps)


_ONCE = {"dross_grade", "dross_height_mm", "standoff_measured_mm"}
_READING_COLUMNS = (
    *("coupon", "reading", "repeat", "side", "rz5_um", "u_mm", "dross_grade", "dross_height_mm"),
    *("standoff_measured_mm", "inspector", "instrument", "cutoff_mm", "depth_mm", "measured_on", "note"),
)


def _typed(rz: float, u: float, world: World) -> dict[str, str]:
    return {"rz5_um": f"{rz:.1f}", "u_mm": f"{u:.{world.u_digits}f}"}


def _slip(readings: pd.DataFrame, mishaps: Mishaps) -> pd.DataFrame:
    """The decimal point forgotten once."""
    coupon, reading = mishaps.slip
    at = (readings["coupon"] == coupon) & (readings["reading"] == reading) & (readings["repeat"] == 0)
    readings.loc[at, "rz5_um"] = readings.loc[at, "rz5_um"].str.replace(".", "", regex=False)
    return readings


# ---------------------------------------------------------------- the truth


def draw_edges(
    world: World, kind: Kind, place: Setting, state: tuple[float, float], number: int, rng: np.random.Generator
) -> tuple[Array, Array, Array]:
    """Readings (DRAWS, number) of Rz5 and u and grades (DRAWS,) for new specimens, mounts, sheets and coupons."""
    log_rz, u, dross = (float(part) for part in edge(world, kind, *place))
    warm, pierces = state
    z = rng.standard_normal((DRAWS, 9))
    rz = log_rz + warm + kind.wear * pierces / 100.0
    rz = rz + kind.specimen * z[:, 0] + world.mount * z[:, 1] + world.sheet * z[:, 2] + kind.coupon * z[:, 3]
    specimen, mount, coupon, reading = world.u_noise
    u = u + specimen * z[:, 4] + mount * z[:, 5] + coupon * z[:, 6]
    rz = np.exp(rz[:, None] + kind.reading * rng.standard_normal((DRAWS, number)))
    u = np.maximum(u[:, None] + reading * rng.standard_normal((DRAWS, number)), 0.0)
    return np.round(rz, 1), np.round(u, world.u_digits), grade_of(dross + 0.25 * z[:, 7] + 0.35 * z[:, 8])


def truth_of(trial: Trial, plan: Plan, world: World, mounts: pd.DataFrame, mishaps: Mishaps) -> dict:
    """What generated the data, and what an endless trial would have found; centred nozzles, middle of the day."""
    rng = np.random.default_rng(world.seed + 1)
    before = (len(plan.coupons) / len(plan.mounts) - 1.0) / 2.0
    warm = float(np.mean(lens(world, plan.coupons["order"]))) + before * world.spatter
    state = warm, float(mounts["pierces_before"].mean()) + before
    wanted, thickness = trial.application.required, trial.application.thickness_mm
    limits = {
        "rz5_um": wanted.rz5_um or float(roughness_limit(wanted.roughness_range, thickness)),
        "u_mm": float(squareness_limit(wanted.squareness_range, thickness)),
        "dross_grade": wanted.dross_grade,
    }
    today = {f"{name}_{trial.factors[name].unit}": value for name, value in trial.today_settings.items()}
    types = {n: _type_truth(trial, world, world.kinds[n], state, limits, rng) for n in trial.types}
    base = types[trial.today.type]["typical_rz5_um"]
    for name, found in types.items():
        found["rz5_ratio_to_today"] = round(found["typical_rz5_um"] / base, 4)
        found["true_answer"] = _word(found["rz5_ratio_to_today"], name == trial.today.type)
    return {
        "note": INVENTED,
        "seed": world.seed,
        "today": today,
        "state": {"lens_and_spatter_log_rz5": round(warm, 5), "pierces": round(state[1], 2)},
        "limits": limits,
        "rule": f"worst of {trial.responses['roughness'].readings} readings, simple acceptance; a new specimen, mount, "
        "sheet and coupon",
        "draws": DRAWS,
        "spreads": {
            "sheet_log_rz5": world.sheet,
            "mount_log_rz5": world.mount,
            "u_mm_specimen_mount_coupon_reading": list(world.u_noise),
            "lens_log_rz5_in_the_long_run": world.lens,
            "spatter_log_rz5_per_pierce": world.spatter,
        },
        "types": types,
        "put_in": mishaps.said,
    }


def _word(ratio: float, is_today: bool) -> str:
    """The word an endless trial would end with, against a worthwhile difference of 15 %."""
    if is_today:
        return "today's"
    if abs(np.log(ratio)) < np.log(1.15):
        return "same for practical purposes"
    return "better" if ratio < 1 else "worse"


def _type_truth(
    trial: Trial, world: World, kind: Kind, state: tuple[float, float], limits: dict, rng: np.random.Generator
) -> dict:
    place = trial.today_settings["pressure"], trial.today_settings["standoff"]
    rz, u, dross = draw_edges(world, kind, place, state, trial.responses["roughness"].readings, rng)
    met = {
        "rz5_um": rz.max(axis=1) <= limits["rz5_um"] + 1e-9,
        "u_mm": u.max(axis=1) <= limits["u_mm"] + 1e-9,
        "dross_grade": dross <= limits["dross_grade"],
    }
    grid = []
    for bar in trial.factors["pressure"].levels:
        for mm in trial.factors["standoff"].levels:
            log_rz, u_mm, _ = edge(world, kind, bar, mm)
            drift = state[0] + kind.wear * state[1] / 100.0
            grid.append([bar, mm, round(float(np.exp(log_rz + drift)), 2), round(float(u_mm), 4)])
    spreads = {"specimen": kind.specimen, "coupon": kind.coupon, "reading": kind.reading}
    return {
        "typical_rz5_um": round(float(np.median(rz)), 2),
        "typical_u_mm": round(float(edge(world, kind, *place)[1]), 4),
        "chance_of_meeting": {name: round(float(share.mean()), 4) for name, share in met.items()}
        | {"all": round(float(np.logical_and.reduce(list(met.values())).mean()), 4)},
        "dross_grade_shares": [round(float(np.mean(dross == g)), 4) for g in range(5)],
        "spread_log_rz5": spreads,
        "wear_log_rz5_per_100_pierces": kind.wear,
        "grid_bar_mm_rz5_u": grid,
    }


def truth_page(trial: Trial, truth: dict) -> str:
    """The truth for a reader."""
    lines = [
        f"# {trial.trial.title} The truth behind the numbers",
        "",
        f"{INVENTED} Made by `example_data/make.py`.",
        "",
    ]
    lines += [
        "Typical (median) edge of a new, centred nozzle at today's settings in the middle of the day, and the chance "
        f"that the next edge meets the requirement ({truth['rule']}; {truth['draws']:,} draws).",
        "",
        "| type | Rz5, µm | ratio | u, mm | chance Rz5 | chance u | chance dross | chance all | endless trial |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for name, t in truth["types"].items():
        c = t["chance_of_meeting"]
        lines.append(
            f"| {name} | {t['typical_rz5_um']:.1f} | {t['rz5_ratio_to_today']:.3f} | "
            f"{t['typical_u_mm']:.3f} | {c['rz5_um']:.1%} | {c['u_mm']:.1%} | {c['dross_grade']:.1%} | "
            f"{c['all']:.1%} | {t['true_answer']} |"
        )
    lines += ["", "Limits: " + ", ".join(f"{k} at most {v:g}" for k, v in truth["limits"].items()) + ".", ""]
    lines += ["Spreads on log Rz5 (standard deviations), unequal between types:", ""]
    lines += ["| type | specimen | coupon | reading | wear per 100 pierces |", "|---|---|---|---|---|"]
    for name, t in truth["types"].items():
        s = t["spread_log_rz5"]
        wear = t["wear_log_rz5_per_100_pierces"]
        lines.append(f"| {name} | {s['specimen']} | {s['coupon']} | {s['reading']} | {wear} |")
    s = truth["spreads"]
    lines += [
        "",
        f"Sheet {s['sheet_log_rz5']}, mount {s['mount_log_rz5']}; the warming lens adds "
        f"{s['lens_log_rz5_in_the_long_run']} in the long run, spatter at the tip "
        f"{s['spatter_log_rz5_per_pierce']} with every pierce since the nozzle was fitted. "
        "The typical edge over the grid of settings is in `truth.json`.",
        "",
        "Put in on purpose:",
        "",
        *(f"- {what}: {where}." for what, where in truth["put_in"].items()),
        "",
    ]
    return "\n".join(lines)


# ---------------------------------------------------------------- the two trials and the lives


OXYGEN = World(
    kinds={
        "cylindrical": Kind(39.0, 0.60, 0.55, 1.3, 0.28, 1.4, 0.125, 1.00, 0.030, 0.05, 0.05, 0.03),
        "plated": Kind(38.7, 0.60, 0.55, 1.3, 0.28, 1.4, 0.125, 0.95, 0.025, 0.05, 0.05, 0.01),
        "double": Kind(27.2, 0.58, 0.30, 0.7, 0.12, 1.4, 0.115, 0.50, 0.020, 0.04, 0.04, 0.04),
        "shower": Kind(35.7, 0.64, 0.60, 1.2, 0.34, 1.4, 0.130, 1.00, 0.060, 0.10, 0.12, 0.05),
    },
    pressure=oxygen_pressure,
    seed=158,
)
NITROGEN = World(
    kinds={
        "conical 2.0": Kind(15.5, 13.0, 0.9, 0.8, 0.20, 2.0, 0.075, 0.95, 0.030, 0.06, 0.05, 0.02),
        "conical 2.5": Kind(12.7, 12.5, 0.7, 0.8, 0.14, 2.5, 0.080, 0.60, 0.035, 0.05, 0.05, 0.02),
        "pointed 2.0": Kind(15.5, 13.0, 1.0, 0.9, 0.24, 2.0, 0.070, 1.00, 0.045, 0.10, 0.12, 0.03),
    },
    pressure=nitrogen_pressure,
    taper=0.03,
    u_noise=(0.004, 0.003, 0.005, 0.003),
    off_centre_u=0.07,
    spatter=0.028,
    u_digits=3,
    instrument="measuring microscope",
    seed=48,
    start=datetime(2025, 3, 18, 7, 30),
)
TRIALS = {"oxygen_12mm": (OXYGEN, "cylindrical", "shower"), "nitrogen_6mm": (NITROGEN, "pointed 2.0", "pointed 2.0")}


def choose_mishaps(plan: Plan, off: str, weak: str, refit: bool, rng: np.random.Generator) -> Mishaps:
    """Where the mishaps fall: the lost cut where the jet was weakest, the rest by chance."""
    coupons = plan.coupons
    off_centre = str(rng.choice(plan.mounts.loc[plan.mounts["nozzle"] == off, "mount"]))
    of_weak = coupons[(coupons["nozzle"] == weak) & (coupons["mount"] != off_centre)]
    weakest = of_weak.sort_values(["pressure_bar", "standoff_mm"], ascending=[True, False], kind="stable").iloc[0]
    free = coupons[(coupons["mount"] != off_centre) & (coupons["coupon"] != weakest["coupon"])]
    mounts = [m for m in free["mount"].unique() if m != weakest["mount"]]
    scrap_mount, slip_mount, late_mount, other_mount = rng.choice(mounts, size=4, replace=False)

    def one(mount: str) -> str:
        return str(rng.choice(free.loc[free["mount"] == mount, "coupon"]))

    late = str(free.loc[free["mount"] == late_mount, "coupon"].iloc[1])
    scrapped, slip = one(scrap_mount), (one(slip_mount), 2)
    refitted = str(other_mount) if refit else None
    odd = free.loc[(free["mount"] == other_mount) & (free["standoff_mm"] == free["standoff_mm"].median()), "coupon"]
    misdialled = None if refit else (str(odd.iloc[0]), "standoff_mm=1.2")
    said = {
        "off-centre mount": f"{off_centre} ({off}), leaning {SIDE_OFF_CENTRE}: u worse there, better opposite; dross",
        "not severed": f"{weakest['coupon']} ({weak}, where its jet is weakest)",
        "scrapped": f"{scrapped}, unrelated to the cut",
        "tenfold slip": f"{slip[0]}, reading {slip[1]}, rz5_um without its decimal point",
        "cut out of order": f"{late} in mount {late_mount}, {LATE_BY} coupons late",
        "drift": "spatter and wear with every pierce of a mount; the lens warms over the cutting order",
        "unequal spread": "specimens, coupons and readings spread differently by type",
    }
    said |= {"refitted": f"{refitted} after {REFITTED_AFTER} coupons, from then on {refitted}b"} if refit else {}
    said |= {} if refit else {"misdialled": f"{misdialled[0]}, cut at {misdialled[1]}"}
    return Mishaps(off_centre, str(weakest["coupon"]), scrapped, slip, late, refitted, misdialled, said)


def make_trial(folder: str, text: str) -> dict[str, str]:
    """File name -> content of one example trial."""
    world, off, weak = TRIALS[folder]
    trial = parse(text)
    plan = make_plan(trial)
    rng = np.random.default_rng(world.seed)
    mishaps = choose_mishaps(plan, off, weak, folder == "nitrogen_6mm", rng)
    cuts = cut_table(trial, plan, world, mishaps)
    mounts = mount_table(plan, cuts, mishaps, rng)
    carried = effects(world, cuts, mounts, mishaps, rng)
    readings = reading_table(trial, world, cuts, carried, mishaps, rng)
    if not any(nozzle.point for nozzle in trial.nozzles):
        readings = readings.drop(columns="standoff_measured_mm")
    sheets = plan.sheets[["sheet"]].assign(
        heat_lot="H412", surface="pickled" if folder == "nitrogen_6mm" else "mill scale, dry"
    )
    sheets["gas_purity"] = "5.0" if folder == "nitrogen_6mm" else "3.5"
    columns = ["coupon", "cut_order", "cut_at", "mount", "sheet", "outcome", "changed_setting", "note"]
    truth = truth_of(trial, plan, world, mounts, mishaps)
    return {
        "cuts.csv": _csv(cuts[columns]),
        "mounts.csv": _csv(mounts),
        "sheets.csv": _csv(sheets),
        "readings.csv": _csv(readings),
        "truth.json": json.dumps(truth, indent=1, ensure_ascii=False) + "\n",
        "truth.md": truth_page(trial, truth),
    }


def make_lives() -> dict[str, str]:
    """Hours until the bore is out of round: wear-out, with a head crash now and then; the study stops at 300 h."""
    rng = np.random.default_rng(1951)
    shape, scales, crash, stop, number = 2.4, {"plain": 170.0, "plated": 260.0}, 2500.0, 250.0, 12
    rows = []
    marks = {"plain": "N", "plated": "P"}
    for name, scale in scales.items():
        worn = scale * rng.weibull(shape, number)
        hours = np.minimum(worn, rng.exponential(crash, number))
        for i, value in enumerate(hours, 1):
            failed = "yes" if value < stop else "no"
            rows.append((name, f"{marks[name]}{i:02d}", f"{min(value, stop):.0f}", failed))
    median = {name: scale * np.log(2.0) ** (1.0 / shape) for name, scale in scales.items()}
    truth = {
        "note": INVENTED,
        "seed": 1951,
        "wear_out": "Weibull",
        "shape": shape,
        "scale_hours": scales,
        "head_crash_mean_hours": crash,
        "stopped_at_hours": stop,
        "median_hours_without_crashes": {name: round(float(value), 1) for name, value in median.items()},
        "ratio_of_lives_plated_to_plain": round(scales["plated"] / scales["plain"], 4),
    }
    page = (
        f"# Nozzle life, plain against plated: the truth behind the numbers\n\n{INVENTED} Made by "
        f"`example_data/make.py`.\n\nEach nozzle wears out after a Weibull life of shape {shape} and scale "
        f"{scales['plain']:g} h (plain) or {scales['plated']:g} h (plated), a ratio of "
        f"{truth['ratio_of_lives_plated_to_plain']:.2f}. A head crash ends it sooner at a rate of one in {crash:g} h, "
        f"for both types, so the lives are not exactly Weibull. Nozzles still good at {stop:g} h were taken off "
        "(`failed` = no).\n"
    )
    table = pd.DataFrame(rows, columns=["nozzle", "specimen", "hours", "failed"])
    return {"lives.csv": _csv(table), "truth.json": json.dumps(truth, indent=1) + "\n", "truth.md": page}


LADDER = "oxygen_4mm"
LADDER_SEED = 1873
LADDER_TYPICAL = {"cylindrical": 3.6, "shower": 4.35, "long_cone": 3.75}  # m/min at which half of the mounts fail
LADDER_SPECIMEN, LADDER_MOUNT = 0.12, 0.10  # m/min


def make_ladder(text: str) -> dict[str, str]:
    """Ladders of rising speed: each mount has a limit of its own; the cutter stops at its first unclean cut."""
    trial = parse(text)
    plan = make_plan(trial)
    rng = np.random.default_rng(LADDER_SEED)
    piece = {mark: rng.normal(0.0, LADDER_SPECIMEN) for mark in plan.coupons["specimen"].drop_duplicates()}
    cuts, readings = [], []
    for mount, rows in plan.coupons.groupby("mount", sort=False):
        first = rows.iloc[0]
        limit = LADDER_TYPICAL[first["nozzle"]] + piece[first["specimen"]] + rng.normal(0.0, LADDER_MOUNT)
        for row in rows.sort_values("speed_m_min").itertuples():
            clean = row.speed_m_min <= limit
            severed = clean or rng.random() > 0.25
            cuts.append((row.coupon, len(cuts) + 1, mount, "cut" if severed else "not_severed"))
            if severed:
                readings.append((row.coupon, 1, int(rng.random() < 0.3) if clean else int(rng.integers(2, 4))))
            if not clean:
                break
    truth = _ladder_truth(trial)
    return {
        "cuts.csv": _csv(pd.DataFrame(cuts, columns=["coupon", "cut_order", "mount", "outcome"])),
        "readings.csv": _csv(pd.DataFrame(readings, columns=["coupon", "reading", "dross_grade"])),
        "truth.json": json.dumps(truth, indent=1) + "\n",
        "truth.md": _ladder_page(truth),
    }


def _ladder_truth(trial: Trial) -> dict:
    spread = float(np.hypot(LADDER_SPECIMEN, LADDER_MOUNT))
    today = LADDER_TYPICAL[trial.today.type]
    types = {}
    for name, typical in LADDER_TYPICAL.items():
        ratio = typical / today
        word = "better" if ratio > 1.10 else "same for practical purposes"
        types[name] = {
            "typical_m_min": typical,
            "clean_95_m_min": round(typical - 1.6448536 * spread, 4),
            "ratio_to_today": round(ratio, 4),
            "true_answer": "" if name == trial.today.type else word,
        }
    return {
        "note": INVENTED,
        "seed": LADDER_SEED,
        "specimen_m_min": LADDER_SPECIMEN,
        "mount_m_min": LADDER_MOUNT,
        "worthwhile": trial.clean_speed.worthwhile,
        "types": types,
    }


def _ladder_page(truth: dict) -> str:
    lines = [
        "# How fast: the truth behind the numbers",
        "",
        f"{INVENTED} Made by `example_data/make.py`.",
        "",
        "Each mount has a limit of speed of its own: that of its type, and normal deviations of its specimen "
        f"({LADDER_SPECIMEN:g} m/min) and of the mount itself ({LADDER_MOUNT:g} m/min). Cuts up to the limit have "
        "dross grade 0 or 1; the first beyond it has grade 2 or 3 or is not severed, and ends the ladder.",
        "",
        "| nozzle | half of the mounts clean up to, m/min | 95 % clean up to | times today's | true answer |",
        "|---|---|---|---|---|",
    ]
    lines += [
        f"| {name} | {t['typical_m_min']:.2f} | {t['clean_95_m_min']:.2f} | {t['ratio_to_today']:.3f} | "
        f"{t['true_answer']} |"
        for name, t in truth["types"].items()
    ]
    return "\n".join([*lines, ""])


WINDOW = "nitrogen_5mm"
WINDOW_SEED = 88
WINDOW_BEST = {"conical": (11.5, 1.1), "diverging": (14.5, 0.7)}  # bar, mm: where each type cuts its best edge
WINDOW_RZ = {"conical": 21.0, "diverging": 18.0}  # Rz5 in um there
WINDOW_BEND = (0.36, 0.20)  # log Rz5 that 3 bar and 0.4 mm away from it add
WINDOW_U = (0.09, 0.012)  # mm of u there, and what 3 bar away adds
WINDOW_SPREADS = (0.05, 0.05, 0.05)  # log Rz5: specimen, coupon, reading; a tenth of that in mm for u


def make_window(text: str) -> dict[str, str]:
    """A response surface with a best setting for each type; every coupon was cut as planned."""
    trial = parse(text)
    coupons = make_plan(trial).coupons
    rng = np.random.default_rng(WINDOW_SEED)
    own = {mark: rng.normal(0.0, WINDOW_SPREADS[0], 2) for mark in coupons["specimen"].drop_duplicates()}
    readings = []
    for row in coupons.itertuples():
        edge = own[row.specimen] + rng.normal(0.0, WINDOW_SPREADS[1], 2)
        away = _away(row.nozzle, row.pressure_bar, row.standoff_mm)
        for number in (1, 2):
            off = edge + rng.normal(0.0, WINDOW_SPREADS[2], 2)
            rz = WINDOW_RZ[row.nozzle] * np.exp(np.dot(WINDOW_BEND, away) + off[0])
            u = WINDOW_U[0] + WINDOW_U[1] * away[0] + 0.1 * off[1]
            readings.append((row.coupon, number, f"{rz:.1f}", f"{u:.3f}"))
    cuts = coupons[["coupon"]].assign(cut_order=range(1, len(coupons) + 1), mount=coupons["mount"], outcome="cut")
    truth = _window_truth()
    return {
        "cuts.csv": _csv(cuts),
        "readings.csv": _csv(pd.DataFrame(readings, columns=["coupon", "reading", "rz5_um", "u_mm"])),
        "truth.json": json.dumps(truth, indent=1) + "\n",
        "truth.md": _window_page(truth),
    }


def _away(nozzle: str, bar: float, mm: float) -> tuple[float, float]:
    """Squared distance from the best setting, in steps of 3 bar and 0.4 mm."""
    best = WINDOW_BEST[nozzle]
    return ((bar - best[0]) / 3.0) ** 2, ((mm - best[1]) / 0.4) ** 2


def _window_truth() -> dict:
    types = {}
    for name, (bar, mm) in WINDOW_BEST.items():
        today = WINDOW_RZ[name] * float(np.exp(np.dot(WINDOW_BEND, _away(name, 13.0, 0.9))))
        types[name] = {"best_bar": bar, "best_mm": mm, "rz5_um": WINDOW_RZ[name], "rz5_today_um": round(today, 3)}
    return {
        "note": INVENTED,
        "seed": WINDOW_SEED,
        "bend": list(WINDOW_BEND),
        "u_mm": list(WINDOW_U),
        "spreads": dict(zip(("specimen", "coupon", "reading"), WINDOW_SPREADS, strict=True)),
        "types": types,
    }


def _window_page(truth: dict) -> str:
    lines = [
        "# Where it is safe to cut: the truth behind the numbers",
        "",
        f"{INVENTED} Made by `example_data/make.py`.",
        "",
        f"Log Rz5 rises by {WINDOW_BEND[0]:g} three bar away from the best setting of a type and by {WINDOW_BEND[1]:g} "
        f"0.4 mm away, with the square of the distance; u is {WINDOW_U[0]:g} mm there and {WINDOW_U[1]:g} mm more "
        "three bar away. Specimens, coupons and readings spread by 5 % each in Rz5, by 0.005 mm in u.",
        "",
        "| nozzle | best pressure, bar | best standoff, mm | Rz5 there, um | Rz5 at today's setting, um |",
        "|---|---|---|---|---|",
    ]
    lines += [
        f"| {name} | {t['best_bar']:g} | {t['best_mm']:g} | {t['rz5_um']:.1f} | {t['rz5_today_um']:.1f} |"
        for name, t in truth["types"].items()
    ]
    return "\n".join([*lines, ""])


def _csv(table: pd.DataFrame) -> str:
    return table.to_csv(index=False, lineterminator="\n")


def make_all() -> dict[str, str]:
    """Path below `example_data` -> content, for every file that this script makes."""
    made = {}
    for folder in TRIALS:
        text = (HERE / folder / "trial.toml").read_text(encoding="utf-8")
        made |= {f"{folder}/{name}": content for name, content in make_trial(folder, text).items()}
    text = (HERE / LADDER / "trial.toml").read_text(encoding="utf-8")
    made |= {f"{LADDER}/{name}": content for name, content in make_ladder(text).items()}
    text = (HERE / WINDOW / "trial.toml").read_text(encoding="utf-8")
    made |= {f"{WINDOW}/{name}": content for name, content in make_window(text).items()}
    return made | {f"nozzle_life/{name}": content for name, content in make_lives().items()}


def main() -> None:
    """Write every file anew."""
    for path, content in make_all().items():
        (HERE / path).write_text(content, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
