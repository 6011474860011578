"""What the monitor remembers, in one SQLite file."""

from monitor.store.errors import DiskFull, SchemaTooNew, StoreCorrupt, StoreError, StoreInUse
from monitor.store.files import integrity
from monitor.store.records import Draft, Letter, Quarantined
from monitor.store.store import Store

__all__ = [
    "DiskFull",
    "Draft",
    "Letter",
    "Quarantined",
    "SchemaTooNew",
    "Store",
    "StoreCorrupt",
    "StoreError",
    "StoreInUse",
    "integrity",
]
