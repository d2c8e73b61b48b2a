"""A trial kept elsewhere: backed up while in use, exported to open files, made again from an export.

Floors above import from here.
"""

from trials.store.keeping.backup import backup
from trials.store.keeping.export import RECORDS, export
from trials.store.keeping.folders import Kept
from trials.store.keeping.restoring import restore

__all__ = ["RECORDS", "Kept", "backup", "export", "restore"]
