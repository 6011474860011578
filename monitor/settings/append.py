"""Adding tables to a configuration file: all of it is checked first, and a crash leaves the old file or the new one."""

from __future__ import annotations

import os
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.settings.errors import ConfigError, Problem
from monitor.settings.loader import from_document
from monitor.settings.tomlfile import parse_toml

if TYPE_CHECKING:
    from collections.abc import Sequence


def with_blocks(text: str, blocks: Sequence[str]) -> str:
    """The text of a file with blocks of TOML at its end; every letter of it stays, line ends as they are there."""
    end = "\r\n" if "\r\n" in text else "\n"
    joined = "".join(f"\n{one}" for one in blocks)
    before = text if not text or text.endswith("\n") else text + end
    return before + (joined.replace("\n", "\r\n") if end == "\r\n" else joined)


def check_text(text: str, path: Path) -> None:
    """Raises ConfigError with all problems, as ``swimup check`` would tell them."""
    from_document(parse_toml(text, str(path)), file=str(path), base=path.absolute().parent)


def append_blocks(path: Path, blocks: Sequence[str]) -> Path:
    """Add the blocks to the file, keeping the one before as ``.bak``; returns the name of that.

    Raises ConfigError, the file untouched, when the whole would not be sound, or cannot be written.
    """
    target = path.resolve()  # a link stays a link
    try:
        raw = target.read_bytes()
        mark = raw.startswith(b"\xef\xbb\xbf")
        text = with_blocks(raw.decode("utf-8-sig"), blocks)
        check_text(text, path)
        backup = target.with_name(target.name + ".bak")
        shutil.copy2(target, backup)
        _replace(target, text.encode("utf-8-sig" if mark else "utf-8"))
    except UnicodeDecodeError:
        raise ConfigError([Problem(str(path), "", "bytes that are not UTF-8", "a TOML file in UTF-8")]) from None
    except OSError as fault:
        found = f"that it cannot be written: {fault.strerror or fault}"
        raise ConfigError([Problem(str(path), "", found, "a file and a folder that you may write")]) from None
    return backup


def _replace(target: Path, content: bytes) -> None:
    """By a temporary file beside it, with the same rights and owner, as far as we may give them."""
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        status = target.stat()
        Path(name).chmod(status.st_mode & 0o7777)
        with suppress(PermissionError):
            os.chown(name, status.st_uid, status.st_gid)
        Path(name).replace(target)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise
    folder = os.open(target.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
