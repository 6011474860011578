"""Values that are made for every message: nobody may change one, and making one costs little."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar, dataclass_transform

T = TypeVar("T")


@dataclass_transform(frozen_default=True)
def light(cls: type[T]) -> type[T]:
    """A dataclass that is frozen to the type checker only: one that looks after itself takes five times as long to make."""
    return dataclass(slots=True, unsafe_hash=True)(cls)
