"""The history as plain files that outlive this program: out of the store, and back into an empty one."""

from monitor.archive.back import Brought, bring_back
from monitor.archive.batch import write_batch
from monitor.archive.files import ArchiveProblem
from monitor.archive.manifest import MANIFEST, Manifest
from monitor.archive.out import Choice, write_out

__all__ = [
    "MANIFEST",
    "ArchiveProblem",
    "Brought",
    "Choice",
    "Manifest",
    "bring_back",
    "write_batch",
    "write_out",
]
