"""The site log: everything that is seen, measured and done at a plant, once and for good."""

from byrewright.site.log.entry import Entry, EntryRefused, Kind, New
from byrewright.site.log.home import LogDamaged, LogRefused, LogTrouble, PostgresMissing
from byrewright.site.log.store import (
    WORLDS,
    Log,
    Owner,
    World,
    log_beside,
    log_of,
    read_back,
)

__all__ = [
    "WORLDS", "Entry", "EntryRefused", "Kind", "Log", "LogDamaged", "LogRefused", "LogTrouble",
    "New", "Owner", "PostgresMissing", "World", "log_beside", "log_of", "read_back",
]  # fmt: skip
