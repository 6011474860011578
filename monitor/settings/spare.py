"""A copy of the configuration file for the next card: as it is, but for secrets that stand in it in clear."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final

from pydantic import SecretStr

from monitor.settings.loader import from_document
from monitor.settings.settings import LISTS, TABLES, Settings

if TYPE_CHECKING:
    from pathlib import Path

LEFT_OUT: Final = "(left out of the backup)"


def spare_copy(settings: Settings) -> str | None:
    """The text of the file with every secret replaced by ``LEFT_OUT``.

    None when it cannot be read any more, is none now, or holds a secret in a way that cannot be replaced.
    """
    try:
        with open(settings.file, "rb") as file:  # noqa: PTH123  (a name, as it was given)
            text = file.read().decode("utf-8-sig")
        document = tomllib.loads(text)
        secrets = set(_secrets(settings)) | set(_secrets(from_document(document, file=settings.file).settings))
    except Exception:  # noqa: BLE001  (whatever a hand has made of it since, it stops no backup)
        return None
    for secret in sorted(secrets, key=len, reverse=True):
        for written in (json.dumps(secret, ensure_ascii=False), json.dumps(secret), f"'{secret}'"):
            text = text.replace(written, json.dumps(LEFT_OUT))
    if any(secret in text for secret in secrets) or any(
        secret in told for told in _texts(tomllib.loads(text)) for secret in secrets
    ):
        return None
    return text


def from_spare(text: str, file: Path) -> tuple[Settings, tuple[str, ...]]:
    """Settings as far as a copy tells them, and which tables lack what was left out. Raises ConfigError, ValueError."""
    document = tomllib.loads(text)
    lacking: list[str] = []
    for name, value in list(document.items()):
        if isinstance(value, list):
            lacking += [_named(name, one) for one in value if LEFT_OUT in set(_texts(one))]
            document[name] = [one for one in value if LEFT_OUT not in set(_texts(one))]
        elif LEFT_OUT in set(_texts(value)):
            lacking.append(f"[{name}]")
            document[name] = {key: one for key, one in value.items() if one != LEFT_OUT}
    settings = from_document(document, file=str(file), base=file.absolute().parent).settings
    return settings, tuple(lacking)


def _named(name: str, table: Any) -> str:
    told = table.get("id") if isinstance(table, Mapping) else None
    return f'[[{name}]] "{told}"' if told else f"[[{name}]]"


def _secrets(settings: Settings) -> Iterator[str]:
    sections = [getattr(settings, name) for name in TABLES]
    sections += [section for name in LISTS for section in getattr(settings, f"{name}s")]
    for section in sections:
        for key in type(section).model_fields:
            value = getattr(section, key)
            if isinstance(value, SecretStr) and value.get_secret_value():
                yield value.get_secret_value()


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for one in value.values():
            yield from _texts(one)
    elif isinstance(value, list):
        for one in value:
            yield from _texts(one)
