"""The table of strains: what is known of newly hatched nauplii, with its sources.

The table ships inside the package (``data/strains.toml``): it is part of the program, tested with it and the same for
all; ``config/`` holds only what a keeper edits.
"""

import tomllib
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict, Field

from monitor.settings.errors import nearest

if TYPE_CHECKING:
    from collections.abc import Mapping


class Strain(BaseModel):
    """One strain. ``length_um`` and ``dry_weight_ug`` are those of instar I, None where no figure was found.

    ``cysts_per_g``: cysts in a gram as it comes, hatching or not.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str = Field(pattern=r"^[a-z0-9-]{1,40}$")
    name: str
    also: tuple[str, ...] = ()  # short names in the trade
    length_um: float | None = Field(default=None, ge=200, le=1500)
    dry_weight_ug: float | None = Field(default=None, ge=0.3, le=20)
    cysts_per_g: float | None = Field(default=None, ge=20_000, le=2_000_000)
    source: str = Field(min_length=1)
    basis: Literal["read", "restated", "memory"]
    note: str = ""


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    strain: tuple[Strain, ...] = Field(min_length=1)


@lru_cache(maxsize=1)
def strains() -> "Mapping[str, Strain]":
    """All strains by id, in the order of the table."""
    text = (Path(__file__).parent / "data/strains.toml").read_text(encoding="utf-8")
    return {strain.id: strain for strain in _Table.model_validate(tomllib.loads(text)).strain}


def find(text: str) -> Strain | None:
    """The strain that a lot's text names: by id, name or short name, whatever the case."""
    word = text.strip().casefold()
    for strain in strains().values():
        if word in (strain.id, strain.name.casefold(), *strain.also):
            return strain
    return None


def full_name(text: str) -> str:
    """What a lot's text names, by its full name; the text itself where the table has no such strain."""
    known = find(text)
    return text if known is None else known.name


def nearest_strain(text: str) -> str:
    """'Did you mean ...?' for a strain that is not in the table, or nothing."""
    return nearest(text, [*strains(), *(strain.name for strain in strains().values())])
