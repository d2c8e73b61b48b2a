"""Damaged and hostile files, made from good ones by small changes, and what must hold for each of them."""

import hashlib
import io
import time

import xlsxwriter
from tests_support import TRIAL_TEXT

from trials.errors import InputError
from trials.steps import cut, record
from trials.store.intake import read_points
from trials.trial import parse

LONGEST = 5.0
"""Seconds after which a file counts as one that hangs."""
TOKENS = (
    *("nan", "inf", "-inf", "1e999", "9" * 30, "9" * 5_000, "-0", "1,5", "1.5.2", "0x1F", "1_000", "", " ", "''"),
    *('"', ";", "\t", ",", "\r", "\n", "\0", "\x1b[2J", "\u202e", "\ufeff", "é", "\ud7ff", "=1/0", "#REF!"),
    *("coupon", "reading", "rz5_um", "outcome", "2026-13-45", "99999999999999999999", "[", "]", "{", "}", "=", "."),
)


def csv_of(marks):
    """Readings as an inspector types them."""
    rows = [f"{mark},{number},0,left,{30 + number},0.1,1,AB,2026-03-05,ok" for mark in marks for number in (1, 2)]
    return "\n".join(["coupon,reading,repeat,side,rz5_um,u_mm,dross_grade,inspector,measured_on,note", *rows]).encode()


def workbook_of(marks):
    """The same as a workbook."""
    data = io.BytesIO()
    with xlsxwriter.Workbook(data, {"in_memory": True}) as book:
        sheet = book.add_worksheet("readings")
        for number, line in enumerate(csv_of(marks).decode().splitlines()):
            for place, cell in enumerate(line.split(",")):
                sheet.write(number, place, float(cell) if cell.isdigit() and number else cell)
    return data.getvalue()


TRACE = "\n".join(["distance_mm,height_um", *(f"{i / 100:.2f},{(i * 7) % 13}" for i in range(60))]).encode()
QUESTION = TRIAL_TEXT.encode()
KINDS = ("csv", "xlsx", "toml", "trace", "cuts")


def good(kind, marks):
    """A file of that kind that can be used."""
    cuts = "coupon,outcome,cut_order\n" + "".join(f"{mark},cut,{place}\n" for place, mark in enumerate(marks, 1))
    files = {"csv": csv_of(marks), "xlsx": workbook_of(marks), "toml": QUESTION, "trace": TRACE, "cuts": cuts.encode()}
    return files[kind]


def changed(data, changes):
    """The file with some of its bytes replaced: changes are (place as a share of the length, bytes to drop, bytes)."""
    for share, drop, new in changes:
        place = int(share * len(data))
        data = data[:place] + new + data[place + drop :]
    return data


def take_in(kind, data, folder):
    """Give a file to the tool; True where it was read. Raises where it crashed, hung or was partly recorded."""
    path = folder.parent / ("input.xlsx" if kind == "xlsx" else "input.csv")
    path.write_bytes(data)
    database = folder / "trial.db"
    before = hashlib.sha256(database.read_bytes()).hexdigest()
    started = time.monotonic()
    try:
        if kind == "toml":
            parse(data.decode("utf-8", "replace"))
        elif kind == "trace":
            read_points(path, "roughness")
        elif kind == "cuts":
            cut(folder, [path])
        else:
            record(folder, path)
        read = True
    except InputError as error:
        assert str(error).strip()
        read = False
    assert time.monotonic() - started < LONGEST, "took too long"
    if not read:
        assert hashlib.sha256(database.read_bytes()).hexdigest() == before, "partly recorded"
    return read
