"""Small files that only their owner may read: session key, token, password hash, private keys."""

from __future__ import annotations

import errno
import os
import secrets
from typing import TYPE_CHECKING, Final

from monitor.web.options import WebProblem

if TYPE_CHECKING:
    from pathlib import Path

PASSES: Final = (errno.ENOSPC, errno.EDQUOT)
"""The disk is full: no fault of the configuration, and to be tried again."""


def write_owner_only(path: Path, content: bytes, mode: int = 0o600) -> None:
    """Replace ``path`` as a whole: a power cut leaves the old content or the new, never a part. Raises OSError.

    What root writes belongs to whom the folder belongs: a service must be able to read what was made for it with sudo.
    """
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    draft = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    try:
        with os.fdopen(handle, "wb") as file:
            if os.geteuid() == 0:
                folder_of = path.parent.stat()
                os.fchown(file.fileno(), folder_of.st_uid, folder_of.st_gid)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    except OSError:
        draft.unlink(missing_ok=True)
        raise
    folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def ensure_secret(path: Path) -> str:
    """The secret kept in ``path``, made on first use or when a power cut left it empty. Raises WebProblem."""
    try:
        kept = path.read_text("ascii").strip() if path.exists() else ""
        if len(kept) < 32:
            kept = secrets.token_urlsafe(32)
            write_owner_only(path, kept.encode() + b"\n")
        elif path.stat().st_mode & 0o077:
            path.chmod(0o600)
    except (OSError, UnicodeDecodeError) as problem:
        if isinstance(problem, OSError) and problem.errno in PASSES:
            text = (
                f'"{path}" cannot be written ({problem}): the page keeps a secret there. Free some space on the disk.'
            )
            raise WebProblem(text, transient=True) from problem
        raise WebProblem(
            f'"{path}" cannot be read or written ({problem}): the page keeps a secret there. '
            "Give the service's user the folder, or remove the file so that a new one is made."
        ) from problem
    return kept
