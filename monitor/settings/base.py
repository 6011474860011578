"""What every table of the configuration has in common."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ConfigDict, Field

from monitor.settings.forms import Form

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

# Or pydantic reads what every installed distribution says of itself, to find extensions of which we use none.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")


class Section(BaseModel):
    """One table. Frozen, unknown keys refused; every field carries its form and its description."""

    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True)


def option(description: str, *, default: Any = ..., told: str = "", example: Any = None) -> Any:
    """A field. ``told`` says in words a default that is worked out at loading; ``example`` is a TOML value."""
    return Field(default, description=description, json_schema_extra={"told": told, "example": example})


def form_of(field: FieldInfo) -> Form:
    """The form of a field; every field of a Section has exactly one."""
    (form,) = (entry for entry in field.metadata if isinstance(entry, Form))
    return form


def extra_of(field: FieldInfo, key: str) -> Any:
    """What ``option`` was told beside the description."""
    extra = field.json_schema_extra
    return extra.get(key) if isinstance(extra, dict) else None
