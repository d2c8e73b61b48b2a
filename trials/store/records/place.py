"""Where the records of a trial lie: `trial.db` in its folder, or a schema of its own on the server of a lab."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from trials.errors import InputError
from trials.store.question import DATABASE
from trials.trial import Trial

VARIABLE = "TRIALS_DATABASE"
DRIVER = "postgresql+psycopg"


@dataclass(frozen=True)
class Server:
    """A schema on a server. url: may hold a password, so it is never shown; shown: the same without."""

    url: str = field(repr=False)
    schema: str
    shown: str

    def __str__(self) -> str:
        """As it is named to people."""
        return f"{self.shown}, schema {self.schema}"


Place = Path | Server


def database_path(folder: Path) -> Path:
    """Where a trial's database lies if it is a file."""
    return Path(folder) / DATABASE


def schema_of(identity: str) -> str:
    """The schema of a trial on a server."""
    return f"trial_{identity}"


def place_of(folder: Path, trial: Trial) -> Place:
    """Where the records of a trial lie, or will: a `trial.db` in the folder goes before any server.

    The server is that of the environment variable `TRIALS_DATABASE`, else of `[store] url`.

    Raises
    ------
    InputError
        If the address is none of a PostgreSQL server.
    """
    file = database_path(folder)
    address = os.environ.get(VARIABLE, "").strip() or trial.store.url
    if file.is_file() or not address:
        return file
    return server(address, trial.store.trial)


def server(address: str, identity: str) -> Server:
    """The schema of a trial on the server with this address; raises as `place_of`."""
    source = f"{VARIABLE} or [store] url"
    allowed = f"{DRIVER}://USER@HOST/DATABASE"
    url = _parsed(address)
    if url is None:
        raise InputError("not the address of a database", column=source, allowed=allowed, do="Correct it.")
    if url.drivername not in (DRIVER, "postgresql"):
        raise InputError(
            "not a kind of database for a lab", column=source, found=url.drivername, allowed=allowed, do="Correct it."
        )
    shown = url.set(drivername="postgresql", password=None, query={}).render_as_string(hide_password=True)
    whole = url.set(drivername=DRIVER).render_as_string(hide_password=False)
    return Server(whole, schema_of(identity) if identity else "", shown)


def _parsed(address: str) -> URL | None:
    """None for what is no address: the error of the library may quote it, password and all, and goes no further."""
    try:
        return make_url(address)
    except (ArgumentError, ValueError):
        return None


def without_password(text: str, address: str) -> str:
    """A message of a server with the password of its address taken out, should it ever be in there."""
    password = make_url(address).password
    return text.replace(str(password), "***") if password else text


_STORE = re.compile(r"^[ \t]*\[[ \t]*store[ \t]*\][^\r\n]*(\r?\n|$)", re.MULTILINE)
_LINE = re.compile(r"^[ \t]*trial[ \t]*=[^\r\n]*(\r?\n|$)", re.MULTILINE)
_NEXT = re.compile(r"^[ \t]*\[", re.MULTILINE)


def with_identity(text: str, identity: str) -> str:
    """The text of a trial file with the identity of its records in `[store]`, in the place of an earlier one; none if
    empty. What it asks is the same."""
    text = _without_identity(text)
    if not identity:
        return text
    end = "\r\n" if "\r\n" in text else "\n"
    line = f'trial = "{identity}"  # written by this tool: the records that belong to this question{end}'
    head = _STORE.search(text)
    if head is not None:
        gap = "" if head.group(1) else end
        return f"{text[: head.end()]}{gap}{line}{text[head.end() :]}"
    gap = "" if not text or text.endswith("\n") else end
    return f"{text}{gap}{end}[store]{end}{line}"


def _without_identity(text: str) -> str:
    head = _STORE.search(text)
    if head is None:
        return text
    after = _NEXT.search(text, head.end())
    stop = after.start() if after else len(text)
    body = _LINE.sub("", text[head.end() : stop])
    if not body.strip() and not after and "written by this tool" in text[head.end() : stop]:
        return text[: head.start()].rstrip("\r\n") + ("\r\n" if "\r\n" in text else "\n")  # a table of this tool alone
    return text[: head.end()] + body + text[stop:]
