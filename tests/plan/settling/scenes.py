"""Small invented trials to plan."""

from trials.plan.settling.problem import problem_of
from trials.trial import parse

BODY = """
[trial]
title = "Invented"
question = "Which type?"
[application]
material = "S235"
thickness_mm = 12.0
gas = "oxygen"
{nozzles}
{factors}
[held]
speed_m_min = 1.1
[plan]
method = "full"
seed = 7
{plan}
[responses.roughness]
primary = true
readings = 2
worthwhile = "{worthwhile}"
[responses.roughness.expected]
level = 35.0
{spreads}
"""
PRESSURE = '[factors.pressure]\nunit = "bar"\nlevels = [0.5, 0.7, 0.9]\ntoday = 0.7'
STANDOFF = '[factors.standoff]\nunit = "mm"\nlevels = [0.6, 1.0, 1.4]\ntoday = 1.0'


def text_of(prices=(9, 21), spreads=("3 %", "2 %", "6 %", "5 %"), factors=1, plan="", worthwhile="15 %"):
    """Text of a trial file; the first type is today's. plan: further lines of its section."""
    blocks = [
        f'[[nozzles]]\ntype = "{2 * chr(97 + i)}"\norifice_mm = 1.4\nspecimens = 3\nprice = {price}'
        + ("\ntoday = true" if i == 0 else "")
        for i, price in enumerate(prices)
    ]
    names = ("specimen", "mount", "coupon", "reading")
    return BODY.format(
        nozzles="\n".join(blocks),
        factors="\n".join((PRESSURE, STANDOFF)[:factors]),
        plan=plan,
        worthwhile=worthwhile,
        spreads="\n".join(f'{name} = "{sd}"' for name, sd in zip(names, spreads, strict=True) if sd),
    )


def problem(**asked):
    """The problem of such a trial."""
    return problem_of(parse(text_of(**asked)))
