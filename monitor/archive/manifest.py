"""``manifest.json``: what an archive holds, and what each file must be."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

if TYPE_CHECKING:
    from pathlib import Path

MANIFEST: Final = "manifest.json"
FORMAT: Final = "swimup-archive"
VERSION: Final = 1
_LARGEST_MANIFEST: Final = 16 << 20

Form = Literal["csv", "jsonl", "senml"]

LEFT_OUT: Final = {
    "phones": "The push subscriptions of phones are secrets: subscribe each phone again.",
    "letters": "Letters to channels were for their moment; those not sent yet must not be sent twice.",
    "deliveries": "What the broker handed out, and the marks of a run, mean nothing to another process.",
    "servers": "How far time-series servers have got: they are sent everything again, which doubles nothing there.",
    "configuration": "It is a file of yours, with your passwords: copy it yourself.",
}


class NotAManifest(ValueError):  # noqa: N818  (the caller says which file)
    """The message says what was found and what to do."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


Count = Annotated[int, Field(ge=0)]


class FileNote(_Strict):
    name: str
    rows: Count
    bytes: Count
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class Chosen(_Strict):
    """Of what an archive is a part; null where nothing was chosen. Times in RFC 3339."""

    since: str | None = None
    until: str | None = None
    probes: list[str] | None = None
    batch: str | None = None


class Manifest(_Strict):
    """``complete``: everything is in it, so that it can be taken back. ``begun``: since when there is a store.

    ``probes`` in the order in which the store met them. ``cleared_before``: from when on there are readings and minutes.
    """

    format: Literal["swimup-archive"] = "swimup-archive"
    version: int = VERSION
    store_schema: int
    complete: bool
    form: Form
    begun: str
    probes: list[str]
    cleared_before: dict[str, str]
    part_of: Chosen | None = None
    left_out: dict[str, str]
    files: list[FileNote]

    def text(self) -> str:
        return json.dumps(self.model_dump(), indent=1, ensure_ascii=False) + "\n"


def read_manifest(path: Path) -> Manifest:
    """Raises NotAManifest and OSError."""
    with path.open("rb") as file:
        head = file.read(_LARGEST_MANIFEST)
    try:
        found: Any = json.loads(head)
    except RecursionError:
        raise NotAManifest("found JSON that is nested too deep. Take the archive from its source again.") from None
    except ValueError as error:
        raise NotAManifest(f"found no JSON ({error}). Take the archive from its source again.") from error
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise NotAManifest(f'"format" is not "{FORMAT}": this is no archive of swimup.')
    version = found.get("version")
    if not isinstance(version, int) or version > VERSION:
        raise NotAManifest(
            f"found version {version!r}; this program knows versions up to {VERSION}. Install the version that wrote it."
        )
    try:
        return Manifest.model_validate(found)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = "/".join(map(str, first["loc"]))
        raise NotAManifest(f"{where}: {first['msg']}. Take the archive from its source again.") from None
