"""What the monitor remembers, in one SQLite file."""

from monitor.store.errors import DiskFull, SchemaTooNew, StoreCorrupt, StoreError, StoreInUse
from monitor.store.files import integrity
from monitor.store.letter_shelf import LETTERS_KEPT
from monitor.store.letters import Draft, Letter, Part, Posted
from monitor.store.records import Quarantined
from monitor.store.retention import Keep
from monitor.store.store import Store

__all__ = [
    "LETTERS_KEPT",
    "DiskFull",
    "Draft",
    "Keep",
    "Letter",
    "Part",
    "Posted",
    "Quarantined",
    "SchemaTooNew",
    "Store",
    "StoreCorrupt",
    "StoreError",
    "StoreInUse",
    "integrity",
]
