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


def life(folder: Path) -> Path:
    """The paper of a life trial."""
    from trials.steps import lives

    rows = lives.read_lives(EXAMPLES / "nozzle_life" / "lives.csv", lives.LifeColumns(), "25 %")
    found = lives.study_table(rows)
    lives.write_lives(rows, found, folder / "life.pdf", date(2026, 3, 2))
    return folder / "life.pdf"


MADE: dict[str, Callable[[Path], Path]] = {
    **{name: (lambda folder, case=case: invented(case, folder)) for name, case in CASES.items()},
    "demo": example("oxygen_12mm"),
    "ladder": example("oxygen_4mm"),
    "window": example("nitrogen_5mm"),
    "adopted": adopted,
    "life": life,
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
