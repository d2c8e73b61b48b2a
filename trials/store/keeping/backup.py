"""A backup: question and records in a new folder, which is a trial folder itself; the trial may be in use meanwhile."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from trials.store.keeping.export import read_out
from trials.store.keeping.folders import Kept, new_folder
from trials.store.keeping.restoring import put_back
from trials.store.question import DATABASE, TOML
from trials.store.records.folder import load, require_frozen
from trials.store.records.place import Server


def backup(folder: Path | str, out: Path | str) -> Kept:
    """Copy the records of one moment, and the question, to a new folder; the copy is held against its chain.

    Papers are not copied: verdicts are kept in the records, and the others can be printed again.

    Raises
    ------
    InputError
        If no plan is frozen, the records are damaged, or the new folder is there already.
    """
    place = require_frozen(folder)
    with new_folder(Path(out)) as part:
        (part / TOML).write_bytes((Path(folder) / TOML).read_bytes())
        if isinstance(place, Server):
            put_back(read_out(folder), part / DATABASE)
        else:
            with closing(sqlite3.connect(place)) as source, closing(sqlite3.connect(part / DATABASE)) as copy:
                source.backup(copy)
        head = load(part).head
    return Kept(Path(out), head)
