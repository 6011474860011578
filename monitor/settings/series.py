"""Time-series servers that are given a copy of the record."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlsplit

from monitor.core.model import MINUTE, SECOND
from monitor.settings.base import Section, option
from monitor.settings.errors import Unfit
from monitor.settings.forms import Duration, Flag, Form, Number, Text, text_of
from monitor.settings.names import FileName, Identifier, split_url

if TYPE_CHECKING:
    from collections.abc import Callable

    from pydantic import ValidationInfo

    from monitor.settings.draft import Draft

_SECRET_FILE = FileName(secret=True)
_VARIABLE = Text("the name of an environment variable", r"[A-Za-z_][A-Za-z0-9_]*", secret=True)
_NAME = Text("one line of text", longest=128)


class SeriesUrl(Form):
    """A server that takes the InfluxDB v2 write API. What comes behind a name may be a proxy's folder, never a secret."""

    allowed = 'an address such as "http://127.0.0.1:8428", without user, "?" or "#"'

    def read(self, value: object, info: "ValidationInfo") -> str:  # noqa: ARG002
        text = text_of(value, self.allowed)
        parts = split_url(text, self.allowed)
        if "@" in text or parts.query or parts.fragment:
            raise Unfit(self.allowed, "A token belongs in a file named by token_file.")
        if parts.scheme not in ("http", "https") or not parts.hostname or parts.port == 0 or not text.isprintable():
            raise Unfit(self.allowed)
        if " " in text:
            raise Unfit(self.allowed)
        return text.rstrip("/")


class SeriesServer(Section):
    """A time-series server that is given every reading, estimate and alarm, and after an outage all it has missed. Any that
    takes the InfluxDB v2 write API will do. It needs a token unless it is on this machine.
    """

    id: Annotated[str, Identifier()] = option(
        "Short name. How far it has got is kept under it: with another name it is sent everything anew.",
        example="trends",
    )
    url: Annotated[str, SeriesUrl()] = option("Where the server is.", example="http://127.0.0.1:8428")
    org: Annotated[str, _NAME] = option("Organisation, where the server knows such.", default="swimup")
    bucket: Annotated[str, _NAME] = option("Bucket, where the server knows such.", default="swimup")
    token_file: Annotated[Path | None, _SECRET_FILE] = option(
        "File whose first line is the token, which must allow to write.", default=None, example="series.token"
    )
    token_env: Annotated[str | None, _VARIABLE] = option(
        "Environment variable that holds the token, instead of a file.", default=None, example="SWIMUP_SERIES_TOKEN"
    )
    ca_file: Annotated[Path | None, FileName()] = option(
        "Certificate of the authority that signed the server's, where that is your own.",
        default=None,
        told="the system's authorities",
        example="series-ca.pem",
    )
    every: Annotated[int, Duration(1 * SECOND, 10 * MINUTE)] = option(
        "How often it is looked for what is new. What is new is written to the store first, see commit_every.",
        default=10 * SECOND,
    )
    batch: Annotated[int, Number(500, 5000, whole=True)] = option("Lines in one call at most.", default=2000)
    gzip: Annotated[bool, Flag()] = option("Pack what is sent: less to carry, more to reckon.", default=False)


def check_series_servers(draft: "Draft", loopback: "Callable[[str], bool]") -> None:
    """One way to a token, and none left out where others listen."""
    for part in draft.series_server:
        given = sorted({"token_file", "token_env"} & part.given)
        if len(given) > 1:
            draft.wrong_in(part, "token_env", "token_file and token_env", "one of the two")
        if not part.sound("url"):
            continue
        address = urlsplit(part.value.url)
        if not given and not loopback(address.hostname or ""):
            hint = "Who can reach a server without a token can also change what it keeps."
            draft.wrong_in(
                part, "token_file", "nothing, but a server on another machine", "token_file or token_env", hint
            )
        if "ca_file" in part.given and address.scheme != "https":
            draft.wrong_in(part, "ca_file", "ca_file, but a url without TLS", "a url that begins with https://")
