"""Verdicts of awkward trials to look at: PDF and one picture of all pages each, in colour and grey, in `build/pages`.

Run by hand: `.venv/bin/python tests/benchmarks/pages.py [NAME ...]`; needs pdftoppm. Honesty is simulated only
few times. With `--readme` it draws the pictures of the README instead.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np

from trials import steps
from trials.decide import own_honesty
from trials.report.figures.window import window_figure
from trials.report.pictures import picture_bytes
from trials.steps.adopt import Adoption, adopt
from trials.steps.life_tables import Lives
from trials.store import intake
from trials.store import records as store
from trials.store.intake.adopt import Keys
from trials.store.records.folder import read_trial
from trials.trial import parse

ROOT = Path(__file__).parents[2]
OUT, EXAMPLES, PICTURES = ROOT / "build" / "pages", ROOT / "example_data", ROOT / "example_data" / "pictures"
MOMENT = datetime(2026, 3, 2, 8, tzinfo=UTC)
LONG = "a nozzle with a name of forty letters {n:02d}"
FOREIGN = ("современное сопло", "εξωτερικό διπλό", "Düse für Präzision", "dysza ułożona")
ALL = ("roughness", "squareness", "dross")


@dataclass(frozen=True)
class Case:
    """An invented trial: names of types, today's first; log effects on Rz5; what is measured; level of Rz5, um."""

    names: Sequence[str]
    effects: Sequence[float]
    measured: Sequence[str] = ALL
    level: float = 35.0
    specimen: float = 0.05


CASES = {
    "two": Case(("plain", "double"), (0.0, -0.3)),
    "three": Case(("plain", "double", "shower"), (0.0, -0.3, 0.1)),
    "six": Case([f"type {n}" for n in range(6)], (0.0, -0.3, -0.2, 0.1, 0.2, 0.0)),
    "eight_long_names": Case([LONG.format(n=n) for n in range(8)], (0.0, -0.3, -0.2, 0.1, 0.2, 0.0, -0.1, 0.3)),
    "not_latin": Case(FOREIGN, (0.0, -0.3, 0.1, 0.2)),
    "roughness_only": Case(("plain", "double", "shower"), (0.0, -0.3, 0.1), ("roughness",)),
    "dross_only": Case(("plain", "double", "shower"), (0.0, -0.8, 0.8), ("dross",)),
    "nothing_settled": Case(("plain", "double", "shower"), (0.0, -0.05, 0.05), specimen=0.3),
    "todays_best": Case(("plain", "double", "shower"), (0.0, 0.4, 0.5)),
    "worse_than_the_last": Case(("plain", "double", "shower"), (0.0, -0.3, 1.9), level=45.0),
}


def toml(case: Case) -> str:
    """The trial file of a case."""
    required = {"roughness": "roughness_range = 2", "squareness": "squareness_range = 2", "dross": "dross_grade = 1"}
    asked = ", ".join(required[name] for name in case.measured)
    nozzles = "".join(
        f'[[nozzles]]\ntype = "{name}"\nbore = "cylindrical"\nwall = "{"double" if k % 2 else "single"}"\n'
        f"orifice_mm = 1.4\nprice = {9 + 6 * k}.0\nspecimens = 3\ntoday = {str(k == 0).lower()}\n"
        for k, name in enumerate(case.names)
    )
    worthwhile = {"roughness": "15 %", "squareness": "0.03 mm", "dross": "20 %"}
    responses = "".join(
        f"[responses.{name}]\nprimary = {str(name == case.measured[0]).lower()}\n"
        f'readings = {1 if name == "dross" else 3}\nworthwhile = "{worthwhile[name]}"\n'
        for name in case.measured
    )
    return (
        '[trial]\ntitle = "12 mm mild steel, oxygen: which nozzle type?"\n'
        'question = "Does another nozzle give a better edge than today\'s?"\n'
        'engineer = "E. Invented"\ninvented = true\n'
        '[application]\nmaterial = "S235"\nthickness_mm = 12.0\ngas = "oxygen"\ncut = "flame"\n'
        f"required = {{ {asked} }}\n{nozzles}"
        '[factors.pressure]\nunit = "bar"\nlevels = [0.5, 0.7, 0.9]\ntoday = 0.7\n'
        "[held]\nspeed_m_min = 1.1\nfocus_mm = 4.0\n"
        '[plan]\nmethod = "full"\nsheets = 3\nseed = 20417\n[coupon]\nlength_mm = 60\nwidth_mm = 40\n'
        f"[costs]\nmachine_hour = 120.0\nmetres_per_year = 40000\n{responses}"
    )


def readings(case: Case, folder: Path) -> Path:
    """Invented readings of every coupon as a CSV file."""
    rng = np.random.default_rng(7)
    coupons = steps.load(folder).coupons
    piece = {mark: rng.normal(0, case.specimen) for mark in sorted(set(coupons["specimen"]))}
    lines = ["coupon,reading,side,rz5_um,u_mm,dross_grade,inspector"]
    for row in coupons.itertuples():
        away = case.effects[list(case.names).index(row.nozzle)] + piece[row.specimen] + rng.normal(0, 0.08)
        dross = int(np.clip(round(1.2 + 1.5 * away + rng.normal(0, 0.7)), 0, 4)) if "dross" in case.measured else ""
        for reading in (1, 2, 3):
            rz5 = f"{case.level * np.exp(away + rng.normal(0, 0.05)):.1f}" if "roughness" in case.measured else ""
            u = f"{max(0.14 + 0.05 * away + rng.normal(0, 0.01), 0.01):.3f}" if "squareness" in case.measured else ""
            grade = dross if reading == 1 else ""
            lines.append(f"{row.coupon},{reading},{'left' if reading % 2 else 'right'},{rz5},{u},{grade},AB")
    path = folder / "readings.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def invented(case: Case, folder: Path) -> Path:
    """The verdict of a case."""
    (folder / "trial.toml").write_text(toml(case), encoding="utf-8")
    steps.freeze(folder, steps.propose(parse(toml(case))), MOMENT)
    store.record_as_planned(folder, at=MOMENT)
    store.record_readings(folder, intake.read_bench(readings(case, folder), steps.load(folder)).readings, at=MOMENT)
    return steps.verdict(folder, at=MOMENT).path


def recorded(name: str, folder: Path) -> None:
    """An example trial with everything on record; what its folder has no table of happened as planned."""
    source = EXAMPLES / name
    shutil.copy(source / "trial.toml", folder)
    steps.freeze(folder, steps.propose(read_trial(folder)[0]), MOMENT)
    records = steps.load(folder)
    kinds = {kind: getattr(intake, f"read_{kind}") for kind in ("cuts", "mounts", "sheets")}
    tables = [
        read(source / f"{kind}.csv", records) for kind, read in kinds.items() if (source / f"{kind}.csv").exists()
    ]
    store.record_cuts(folder, *tables, at=MOMENT)
    store.record_readings(folder, intake.read_bench(source / "readings.csv", steps.load(folder)).readings, at=MOMENT)


def example(name: str) -> Callable[[Path], Path]:
    """The verdict of an example trial."""

    def made(folder: Path) -> Path:
        recorded(name, folder)
        return steps.verdict(folder, at=MOMENT).path

    return made


def adopted(folder: Path) -> Path:
    """The verdict of a table that was cut without this tool."""
    rng = np.random.default_rng(3)
    lines = ["kind,piece,coupon,pressure_bar,Rz"]
    for k, kind in enumerate(("old", "new", "other")):
        for piece in range(3):
            for coupon in range(4):
                level = 35.0 * np.exp(-0.2 * k + rng.normal(0, 0.08))
                name = f"{kind}{piece}-{coupon}"
                place = f"{kind},{kind}{piece},{name},{0.5 + 0.2 * (coupon % 2):.1f}"
                lines += [f"{place},{level * 1.02**reading:.1f}" for reading in range(3)]
    table = OUT / "adopted.csv"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    said = Adoption(
        keys=Keys(nozzle=("kind",), specimen=("piece",), coupon=("coupon",)),
        factors={"pressure_bar": False},
        responses=("Rz:um",),
        today="old",
    )
    adopt(folder, table, said)
    return steps.verdict(folder, at=MOMENT).path


@dataclass(frozen=True)
class LifeCase:
    """An invented life trial: names of types, today's first; how many times as long each lasts; pieces of each; whether
    lives of lenses are kept beside; pierces after which a piece is taken off."""

    names: Sequence[str]
    times: Sequence[float]
    pieces: int = 12
    lenses: bool = False
    last: float = 6500.0


LIVES = {
    "life": LifeCase(("plain", "plated"), (1.0, 1.8)),
    "life_three": LifeCase(("plain", "plated", "double"), (1.0, 1.6, 0.6)),
    "life_six_long_names": LifeCase([LONG.format(n=n) for n in range(6)], (1.0, 1.8, 1.1, 0.6, 1.3, 1.0)),
    "life_nothing_settled": LifeCase(("plain", "plated", "double"), (1.0, 0.75, 0.9), 6),
    "life_todays_best": LifeCase(("plain", "plated", "double"), (1.0, 0.4, 0.5)),
    "life_lenses": LifeCase(("plain", "plated"), (1.0, 1.8), lenses=True),
    "life_never_failed": LifeCase(("plain", "plated"), (1.0, 4.0), last=4500.0),
}


def life_toml(case: LifeCase) -> str:
    """The trial file of a life case."""
    nozzles = "".join(
        f'[[nozzles]]\ntype = "{name}"\nbore = "cylindrical"\nwall = "{"double" if name == "double" else "single"}"\n'
        f"plated = {str(name == 'plated').lower()}\norifice_mm = 1.4\nprice = {9 + 1.5 * k}\n"
        f"specimens = {case.pieces}\ntoday = {str(k == 0).lower()}\n"
        for k, name in enumerate(case.names)
    )
    return (
        '[trial]\ntitle = "Nozzle life on 10 mm mild steel with oxygen"\n'
        'question = "Does another nozzle last long enough to pay for its price?"\n'
        'engineer = "E. Invented"\ninvented = true\n'
        '[application]\nmaterial = "S235"\nthickness_mm = 10.0\ngas = "oxygen"\ncut = "flame"\n'
        f"required = {{ squareness_range = 2, roughness_range = 3 }}\n{nozzles}"
        "[held]\npressure_bar = 0.7\nstandoff_mm = 1.0\nspeed_m_min = 1.3\nfocus_mm = 4.0\n"
        '[plan]\nmethod = "life"\nsheets = 1\nseed = 77\n[coupon]\nlength_mm = 60\nwidth_mm = 40\n'
        '[responses.life]\ncolumn = "life_pierces"\nunit = "pierces"\nscale = "log"\nhigher_is_better = true\n'
        'resolution = 10\nprimary = true\nreadings = 1\nworthwhile = "30 %"\n'
    )


def life_table(case: LifeCase, folder: Path) -> Path:
    """Invented lives of every nozzle as a CSV file, Weibull of shape 3 (a guess), of lenses of every third one."""
    rng = np.random.default_rng(11)
    lines = ["nozzle,specimen,part,pierces,ended"]
    coupons = steps.load(folder).coupons.sort_values("specimen")
    for k, row in enumerate(coupons.itertuples()):
        times = case.times[list(case.names).index(row.nozzle)]
        for part, typical in (("nozzle", 4000.0), *((("lens", 20000.0),) if case.lenses and k % 3 == 0 else ())):
            life = typical * times * rng.weibull(3.0)
            limit = case.last * typical / 4000.0
            end = (
                "taken_off_good"
                if life > limit
                else "lens_burnt"
                if part == "lens"
                else ("worn", "plugged")[k % 3 == 1]
            )
            lines.append(f"{row.nozzle},{row.specimen},{part},{10 * round(min(life, limit) / 10)},{end}")
    path = folder / "lives.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def life(case: LifeCase, folder: Path) -> Path:
    """The paper of a life trial."""
    from trials.steps import lives

    (folder / "trial.toml").write_text(life_toml(case), encoding="utf-8")
    steps.freeze(folder, steps.propose(parse(life_toml(case))), MOMENT)
    store.record_as_planned(folder, at=MOMENT)
    lives.record_lives(folder, life_table(case, folder), at=MOMENT)
    return life_paper(lives.recorded_lives(folder), folder)


def life_of_table(folder: Path) -> Path:
    """The paper of a bare table of lives."""
    from trials.steps import lives

    table = lives.read_lives(EXAMPLES / "nozzle_life" / "lives.csv", lives.LifeColumns(), "25 %")
    return life_paper(table, folder)


def life_paper(table: Lives, folder: Path) -> Path:
    """Lives studied and printed."""
    from trials.steps import lives

    lives.write_lives(table, lives.study_table(table), folder / "life.pdf", date(2026, 3, 2))
    return folder / "life.pdf"


MADE: dict[str, Callable[[Path], Path]] = {
    **{name: (lambda folder, case=case: invented(case, folder)) for name, case in CASES.items()},
    "demo": example("oxygen_12mm"),
    "ladder": example("oxygen_4mm"),
    "window": example("nitrogen_5mm"),
    "adopted": adopted,
    **{name: (lambda folder, case=case: life(case, folder)) for name, case in LIVES.items()},
    "life_table": life_of_table,
}


def contact(paper: Path, name: str) -> None:
    """All pages of a paper in one picture, in colour and in grey."""
    from PIL import Image

    for kind, option in (("colour", []), ("grey", ["-gray"])):
        place = OUT / "one by one" / f"{name}-{kind}"
        place.mkdir(parents=True)
        subprocess.run(["pdftoppm", "-r", "70", *option, "-png", paper, place / "page"], check=True)
        pages = [Image.open(path).convert("RGB") for path in sorted(place.iterdir())]
        wide, tall, columns = pages[0].width, pages[0].height, min(4, len(pages))
        whole = Image.new("RGB", (wide * columns, tall * -(-len(pages) // columns)), "white")
        for k, page in enumerate(pages):
            whole.paste(page, (k % columns * wide, k // columns * tall))
        whole.save(OUT / f"{name}-{kind}.png")


def readme() -> None:
    """The second picture of the README, the operating window; the first is page 1 of the demo's verdict."""
    folder = OUT / "readme"
    folder.mkdir(parents=True)
    recorded("nitrogen_5mm", folder)
    (PICTURES / "window.png").write_bytes(picture_bytes(window_figure(steps.window(folder)), ".png"))


def main(names: Sequence[str]) -> None:
    """Make the pages of some cases, of all if none is named."""
    shutil.rmtree(OUT, ignore_errors=True)
    OUT.mkdir(parents=True)
    own_honesty.TRIALS = 50
    if "--readme" in names:
        readme()
        return
    for name in names or MADE:
        folder = OUT / "trials" / name
        folder.mkdir(parents=True)
        paper = MADE[name](folder)
        shutil.copy(paper, OUT / f"{name}.pdf")
        contact(paper, name)
        print(name)


if __name__ == "__main__":
    main(sys.argv[1:])
