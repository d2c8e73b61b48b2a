"""A made-up shop: folders of frozen trials with kept verdicts, made without cutting, for charts and cards."""

from datetime import datetime

from trials import steps
from trials.store.records import KeptWord, NewLook, keep_look

HEAD = """
[trial]
title = "{title}"
question = "Which nozzle type?"
{extra}
[application]
material = "{material}"
thickness_mm = {thickness}
gas = "{gas}"
required = {{ roughness_range = 2 }}
[held]
machine = "{machine}"
speed_m_min = 2.0
[factors.pressure]
unit = "bar"
levels = [8, 10, 12]
today = 10
[factors.standoff]
unit = "mm"
levels = [0.6, 0.8, 1.0]
today = 0.8
[responses.roughness]
primary = true
readings = 1
worthwhile = "15 %"
"""
NOZZLE = """
[[nozzles]]
type = "{name}"
bore = "{bore}"
wall = "{wall}"
orifice_mm = {orifice}
price = {price}
specimens = ["{mark}1", "{mark}2"]
{today}
"""
FORMS = {
    "plain": ("cylindrical", "single", 2.0, 9.0),
    "conical": ("conical", "single", 2.0, 11.0),
    "double": ("cylindrical", "double", 2.0, 24.0),
    "wide": ("cylindrical", "single", 3.0, 10.0),
}
BETTER, SAME, OPEN, WORSE = "better", "same for practical purposes", "not settled", "worse"


def text_of(title, job, types, today, machine="M1", extra="", forms=FORMS):
    """A trial file. job: material, thickness, gas."""
    material, thickness, gas = job
    facts = {"title": title, "material": material, "thickness": thickness, "gas": gas, "machine": machine}
    parts = [HEAD.format(**facts, extra=extra)]
    for k, name in enumerate(types):
        bore, wall, orifice, price = forms[name]
        mark = f"{name[0].upper()}{k}"
        line = "today = true" if name == today else ""
        parts.append(
            NOZZLE.format(name=name, bore=bore, wall=wall, orifice=orifice, price=price, mark=mark, today=line)
        )
    return "".join(parts)


def make_trial(home, name, job, words, today="plain", day=(2026, 3, 2), **other):
    """A folder with a frozen trial and, where words are given, one kept look.

    words: type -> (answer, ratio).
    """
    folder = home / name
    folder.mkdir(parents=True)
    types = [today, *(kind for kind in words if kind != today)]
    (folder / "trial.toml").write_text(text_of(f"Trial {name}", job, types, today, **other), encoding="utf-8")
    from trials.trial import parse

    steps.freeze(folder, steps.propose(parse((folder / "trial.toml").read_text(encoding="utf-8"))))
    if words:
        keep(folder, words, today, day)
    return folder


def keep(folder, words, today, day):
    """Keep a look with these words."""
    compared = [
        {"nozzle": kind, "against": today, "kind": "ratio", "value": ratio, "low": 0.9 * ratio, "high": 1.1 * ratio}
        | {"answer": answer, "answer_adds": None, "times_worthwhile": abs(ratio - 1) / 0.15}
        for kind, (answer, ratio) in words.items()
    ]
    study = {"results": [{"response": "roughness", "symbol": "Rz5", "unit": "um", "comparisons": compared}]}
    kept = tuple(KeptWord("roughness", kind, today, answer) for kind, (answer, _) in words.items())
    new = NewLook(1, True, "f" * 64, "2", kept, None, summary={"study": study})
    keep_look(folder, new, datetime(*day))


STEEL_12, STEEL_4, NICKEL = ("S235", 12.0, "oxygen"), ("S235", 4.0, "nitrogen"), ("1.4301", 6.0, "nitrogen")


def make_shop(home):
    """Six folders: three jobs, one of them twice, one on another machine, one without a verdict."""
    return [
        make_trial(home, "steel-12", STEEL_12, {"double": (BETTER, 0.67), "conical": (OPEN, 0.95)}),
        make_trial(home, "steel-12-again", STEEL_12, {"double": (OPEN, 0.9), "wide": (WORSE, 1.4)}, day=(2025, 9, 1)),
        make_trial(home, "steel-4", STEEL_4, {"double": (SAME, 1.02), "wide": (WORSE, 1.3)}),
        make_trial(
            home, "stainless-6", NICKEL, {"double": (BETTER, 0.8), "wide": (OPEN, 1.1)}, today="conical", machine="M2"
        ),
        make_trial(home, "not-yet", ("AlMg3", 5.0, "nitrogen"), {}),
    ]
