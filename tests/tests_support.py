"""Texts of small trial files, blank pictures, sentences of findings, a database without its chain: shared."""

import sqlite3
from contextlib import closing
from io import StringIO

import pandas as pd

from trials.store.records.place import with_identity

TRIAL_TEXT = """
[trial]
title = "Invented trial for tests"
question = "Does a double-wall nozzle give a better edge than today's single one?"
engineer = "A. Tester"

[application]
material = "S235"
thickness_mm = 12.0
gas = "oxygen"
cut = "flame"
required = { squareness_range = 2, roughness_range = 2, dross_grade = 1 }

[[nozzles]]
type = "cylindrical"
bore = "cylindrical"
wall = "single"
orifice_mm = 1.4
price = 9.0
specimens = ["C1", "C2", "C3"]
today = true

[[nozzles]]
type = "double"
bore = "cylindrical"
wall = "double"
orifice_mm = 1.4
price = 31.0
specimens = ["D1", "D2", "D3"]

[factors.pressure]
unit = "bar"
levels = [0.5, 0.7, 0.9]
today = 0.7
[factors.standoff]
unit = "mm"
levels = [0.6, 1.0, 1.4]
today = 1.0

[held]
speed_m_min = 1.1

[plan]
method = "full"
sheets = 3
seed = 20417

[responses.roughness]
primary = true
readings = 3
worthwhile = "15 %"
[responses.roughness.expected]
level = 35.0
specimen = "8 %"
coupon = "10 %"
reading = "7 %"
[responses.squareness]
readings = 3
worthwhile = "0.03 mm"
[responses.dross]
readings = 1
"""

_HEAD, _TAIL = TRIAL_TEXT.split("[factors.standoff]")
SMALL_TEXT = _HEAD.replace("squareness_range = 2, ", "").replace(", dross_grade = 1", "")
SMALL_TEXT += _TAIL[_TAIL.index("[plan]") : _TAIL.index("[responses.squareness]")]
"""The same trial with one factor and one response: 18 coupons, a verdict in a third of the time."""

BLANK = '<svg xmlns="http://www.w3.org/2000/svg" width="1" height="1" viewBox="0 0 1 1"></svg>'


def draw_blank(patch):
    """Let every picture come out blank until `patch` is undone."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    def blank(canvas, stream, **options):
        if isinstance(stream, StringIO):
            stream.write(BLANK)
        else:  # a measure is taken of a label of contours
            drawn(canvas, stream, **options)

    drawn = FigureCanvasSVG.print_svg
    patch.setattr(FigureCanvasSVG, "print_svg", blank)


def told(findings):
    """The sentences of findings, in their order."""
    from trials.words.findings import say

    return [say(finding) for finding in findings]


def unchained(folder):
    """Take the chain out of a trial, as schema 2 left it: rows may then be changed by a test."""
    question = folder / "trial.toml"
    question.write_text(with_identity(question.read_text(encoding="utf-8"), ""), encoding="utf-8")
    with closing(sqlite3.connect(folder / "trial.db")) as connection, connection:
        connection.execute("DROP INDEX journal_previous")
        for table, column in (("journal", "covers"), ("journal", "previous"), ("journal", "digest")):
            connection.execute(f"ALTER TABLE {table} DROP COLUMN {column}")
        connection.execute("UPDATE looks SET journal_id = NULL")
        connection.execute("DELETE FROM about WHERE name IN ('head', 'trial')")
        connection.execute("UPDATE about SET value = '2' WHERE name = 'schema_version'")


def readings_table(*rows):
    """Readings as (coupon, reading, field, value)."""
    return pd.DataFrame(rows, columns=["coupon", "reading", "field", "value"])
