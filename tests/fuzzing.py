"""Damaged and hostile files, made from good ones by small changes, and what must hold for each of them."""

import hashlib
import io
import struct
import time
import zipfile

import xlsxwriter
from tests_support import TRIAL_TEXT

from trials.errors import InputError
from trials.steps import cut, record
from trials.store.intake import read_points
from trials.trial import parse

LONGEST = 5.0
"""Seconds of the processor after which a file counts as one that hangs."""
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


def old_book(*cells, shift=9):
    """An `.xls` workbook of one sheet by hand: cells as (row, column, text or number), in a compound file."""

    def record(kind, body):
        return struct.pack("<HH", kind, len(body)) + body

    def cell(row, column, value):
        head = struct.pack("<HHH", row, column, 0)
        if isinstance(value, str):
            return record(0x0204, head + struct.pack("<HB", len(value), 0) + value.encode("latin-1"))
        return record(0x0203, head + struct.pack("<d", value))

    begin = struct.pack("<HHHHII", 0x0600, 0x0005, 0, 1996, 0, 6)
    sheet = record(0x0809, struct.pack("<HHHHII", 0x0600, 0x0010, 0, 1996, 0, 6))
    sheet += b"".join(cell(*one) for one in cells) + record(0x000A, b"")
    name = b"readings"
    place = len(record(0x0809, begin)) + 4 + 8 + len(name) + 4
    globals_ = record(0x0809, begin) + record(0x0085, struct.pack("<IHBB", place, 0, len(name), 0) + name)
    book = globals_ + record(0x000A, b"") + sheet
    size, free, end = 1 << shift, 0xFFFFFFFF, 0xFFFFFFFE
    length = max(len(book), 4096)
    book = book.ljust(-(-length // size) * size, b"\0")
    count = len(book) // size
    table = [0xFFFFFFFD, end, *range(3, 2 + count), end]
    fat = struct.pack(f"<{len(table)}I", *table).ljust(size, b"\xff")
    assert len(fat) == size

    def entry(title, kind, start, bytes_, child=free):
        text = f"{title}\0".encode("utf-16-le")
        links = struct.pack("<HBBIII", len(text), kind, 1, free, free, child)
        return text.ljust(64, b"\0") + links + bytes(36) + struct.pack("<IQ", start, bytes_)

    folder = (entry("Root Entry", 5, end, 0, 1) + entry("Workbook", 2, 2, length)).ljust(size, b"\0")
    head = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(16) + struct.pack("<HHHHH", 0x3E, 3, 0xFFFE, shift, 6)
    head += bytes(6) + struct.pack("<IIIIIIIII", 0, 1, 1, 0, 4096, end, 0, end, 0)
    head += struct.pack("<109I", 0, *[free] * 108)
    return head.ljust(size, b"\0") + fat + folder + book


def open_book(content):
    """An `.ods` workbook with these rows inside its one sheet, as text of `content.xml`."""
    spaces = "".join(
        f' xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{short}:1.0"' for short in ("office", "table", "text")
    )
    body = f"<office:body><office:spreadsheet>{content}</office:spreadsheet></office:body>"
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as book:
        book.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet", zipfile.ZIP_STORED)
        book.writestr("META-INF/manifest.xml", "<manifest/>")
        book.writestr("content.xml", f"<office:document-content{spaces}>{body}</office:document-content>")
    return data.getvalue()


def open_sheet(rows):
    """Rows of cells as the text of a sheet of an `.ods` workbook."""

    def cell(value):
        kind = "string" if isinstance(value, str) else "float"
        number = "" if kind == "string" else f' office:value="{value}"'
        return f'<table:table-cell office:value-type="{kind}"{number}><text:p>{value}</text:p></table:table-cell>'

    lines = "".join(f"<table:table-row>{''.join(map(cell, row))}</table:table-row>" for row in rows)
    return f'<table:table table:name="readings">{lines}</table:table>'


def cells_of(marks):
    """The readings of `csv_of` as rows of texts and numbers."""
    rows = [line.split(",") for line in csv_of(marks).decode().splitlines()]
    return [rows[0], *([float(cell) if cell.isdigit() else cell for cell in row] for row in rows[1:])]


def old_book_of(marks):
    """The same readings as an `.xls` workbook."""
    return old_book(*((r, c, cell) for r, row in enumerate(cells_of(marks)) for c, cell in enumerate(row)))


def open_book_of(marks):
    """The same readings as an `.ods` workbook."""
    return open_book(open_sheet(cells_of(marks)))


TRACE = "\n".join(["distance_mm,height_um", *(f"{i / 100:.2f},{(i * 7) % 13}" for i in range(60))]).encode()
QUESTION = TRIAL_TEXT.encode()
SCAN = "\n".join(["depth_mm,offset_mm", *(f"{i / 20:.2f},{((i * 5) % 9) / 100}" for i in range(200))]).encode()
BOOKS = ("xlsx", "xls", "ods")
RECORDED = ("csv", *BOOKS, "cuts")
KINDS = (*RECORDED, "toml", "trace", "scan")


def good(kind, marks):
    """A file of that kind that can be used."""
    cuts = "coupon,outcome,cut_order\n" + "".join(f"{mark},cut,{place}\n" for place, mark in enumerate(marks, 1))
    books = {"xlsx": workbook_of, "xls": old_book_of, "ods": open_book_of, "csv": csv_of}
    files = {"toml": QUESTION, "trace": TRACE, "scan": SCAN, "cuts": cuts.encode()}
    return files[kind] if kind in files else books[kind](marks)


def changed(data, changes):
    """The file with some of its bytes replaced: changes are (place as a share of the length, bytes to drop, bytes)."""
    for share, drop, new in changes:
        place = int(share * len(data))
        data = data[:place] + new + data[place + drop :]
    return data


def take_in(kind, data, folder):
    """Give a file to the tool; True where it was read. Raises where it crashed, hung or was partly recorded."""
    path = folder.parent / (f"input.{kind}" if kind in BOOKS else "input.csv")
    path.write_bytes(data)
    database = folder / "trial.db"
    before = hashlib.sha256(database.read_bytes()).hexdigest()
    started = time.process_time()  # a busy machine is no hang
    try:
        if kind == "toml":
            parse(data.decode("utf-8", "replace"))
        elif kind in ("trace", "scan"):
            read_points(path, "roughness" if kind == "trace" else "squareness")
        elif kind == "cuts":
            cut(folder, [path])
        else:
            record(folder, path)
        read = True
    except InputError as error:
        assert str(error).strip()
        read = False
    assert time.process_time() - started < LONGEST, "took too long"
    if not read:
        assert hashlib.sha256(database.read_bytes()).hexdigest() == before, "partly recorded"
    return read
