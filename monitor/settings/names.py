"""The forms of names, times of day, files and addresses."""

from __future__ import annotations

import datetime as dt
import ipaddress
import re
import zoneinfo
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar
from urllib.parse import SplitResult, urlsplit

from pydantic import SecretStr

from monitor.core.light import light
from monitor.settings.errors import Unfit, nearest
from monitor.settings.forms import MASK, Form, text_of, toml

if TYPE_CHECKING:
    from pydantic import ValidationInfo


class Identifier(Form):
    """Becomes a level of MQTT topics and a part of addresses."""

    allowed = 'an id of 1 to 40 small letters, digits and hyphens, such as "ash-2"'

    def read(self, value: object, info: ValidationInfo) -> str:  # noqa: ARG002
        text = text_of(value, self.allowed)
        if re.fullmatch(r"[a-z0-9-]{1,40}", text, re.ASCII) is None:
            tame = re.sub(r"[^a-z0-9]+", "-", text.casefold()).strip("-")[:40]
            raise Unfit(self.allowed, f'"{tame}" would do.' if tame else "")
        return text


class ClockTime(Form):
    """A local time of day; inside, its text as HH:MM."""

    allowed = 'local times such as "07:00" or "18:30", from "00:00" to "23:59"'

    def read(self, value: object, info: ValidationInfo) -> str:  # noqa: ARG002
        if isinstance(value, dt.time) and value.tzinfo is None and not (value.second or value.microsecond):
            return f"{value:%H:%M}"
        match = re.fullmatch(r"(\d{1,2}):(\d\d)", value, re.ASCII) if isinstance(value, str) else None
        if match is None or int(match[1]) > 23 or int(match[2]) > 59:
            raise Unfit(self.allowed)
        return f"{int(match[1]):02}:{match[2]}"


class Word(Form):
    """A word of an air probe, compared without regard to case and surrounding space."""

    allowed = 'words such as "on" or "running"'

    def read(self, value: object, info: ValidationInfo) -> str:  # noqa: ARG002
        word = text_of(value, self.allowed).strip().casefold()
        if not 1 <= len(word) <= 40 or not word.isprintable():
            raise Unfit(self.allowed)
        return word


class TimeZone(Form):
    allowed = 'an IANA time zone such as "Europe/Berlin" or "America/New_York"'

    def read(self, value: object, info: ValidationInfo) -> str:  # noqa: ARG002
        text = text_of(value, self.allowed)
        try:
            # Absolute and climbing paths are a ValueError, folders and broken files an OSError.
            zoneinfo.ZoneInfo(text)
        except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
            raise Unfit(self.allowed, nearest(text, sorted(zoneinfo.available_timezones()))) from None
        return text


class Topic(Form):
    allowed = 'one whole MQTT topic such as "shed/ash/water", without the wildcards + and #'

    def read(self, value: object, info: ValidationInfo) -> str:  # noqa: ARG002
        topic = text_of(value, self.allowed)
        if "+" in topic or "#" in topic:
            raise Unfit(self.allowed, "A probe is one topic: write a [[probe]] for each.")
        if topic.startswith("$"):
            raise Unfit(self.allowed, 'Topics that begin with "$" belong to the broker.')
        if not topic or not topic.isprintable() or len(topic.encode()) > 65535:
            raise Unfit(self.allowed)
        return topic


class Pointer(Form):
    allowed = 'a JSON Pointer (RFC 6901) such as "/temperature" or "/sensors/0/t"'

    def read(self, value: object, info: ValidationInfo) -> str:  # noqa: ARG002
        text = text_of(value, self.allowed)
        if text and not text.startswith("/"):
            raise Unfit(self.allowed, f'"/{text.replace(".", "/")}" perhaps.' if text.isprintable() else "")
        if re.search(r"~(?![01])", text):
            raise Unfit(self.allowed, 'Write "~" in a name as "~0", and "/" as "~1".')
        return text


@light
class FileName(Form):
    """A file; relative ones are beside the configuration file, "~" is the home."""

    secret: bool = False

    @property
    def allowed(self) -> str:
        return "the name of a file; a relative one is looked up beside this configuration file"

    def read(self, value: object, info: ValidationInfo) -> Path:
        text = str(value) if isinstance(value, Path) else text_of(value, self.allowed)
        if not text or not text.isprintable() or "://" in text:
            raise Unfit(self.allowed)
        try:
            path = Path(text).expanduser()
        except RuntimeError:  # "~nobody": there is no such home
            raise Unfit(self.allowed, 'Write the whole path instead of "~".') from None
        base = (info.context or {}).get("base")
        return path if base is None else Path(base) / path


def split_url(text: str, allowed: str) -> SplitResult:
    """The parts of a URL, its port looked at too; raises Unfit."""
    try:
        parts = urlsplit(text)
        _ = parts.port
    except ValueError:
        raise Unfit(allowed) from None
    return parts


class BrokerUrl(Form):
    allowed = '"mqtt://host:port" or, with TLS, "mqtts://host:port"'
    MEANT: ClassVar = {"tcp": "mqtt", "ssl": "mqtts", "tls": "mqtts", "ws": "mqtt", "wss": "mqtts", "http": "mqtt"}

    def read(self, value: object, info: ValidationInfo) -> str:  # noqa: ARG002
        text = text_of(value, self.allowed)
        if "@" in text:
            raise Unfit(
                self.allowed,
                "Keep the name in user, and the password in a file named by password_file or in an environment "
                "variable named by password_env.",
            )
        scheme = text.partition("://")[0].casefold()
        # Only what is meant for a broker is told in full: other addresses hold tokens anywhere.
        found = f'"{text}"' if scheme in (*self.MEANT, "mqtt", "mqtts") and text.isprintable() else None
        parts = split_url(text, self.allowed)
        if parts.scheme not in ("mqtt", "mqtts"):
            hint = f'Write "{self.MEANT[scheme]}://…".' if scheme in self.MEANT else nearest(scheme, ("mqtt", "mqtts"))
            raise Unfit(self.allowed, hint, found)
        host = parts.hostname or ""
        bare = not (parts.path.strip("/") or parts.query or parts.fragment)
        if not bare or re.fullmatch(r"[\w.:%-]+", host) is None or parts.port == 0:
            raise Unfit(self.allowed, "" if bare else "Leave away what follows the port.", found if bare else None)
        return text.rstrip("/")


class PageAddress(Form):
    """The page as a phone reaches it; without TLS only on this machine, since links in letters are keys."""

    allowed = 'an address such as "https://shed.home.arpa:8417", with nothing behind the port'

    def read(self, value: object, info: ValidationInfo) -> str:  # noqa: ARG002
        text = text_of(value, self.allowed)
        parts = split_url(text, self.allowed)
        host = parts.hostname or ""
        bare = not (parts.path.strip("/") or parts.query or parts.fragment or "@" in text)
        if parts.scheme not in ("http", "https") or not bare or re.fullmatch(r"[\w.:-]+", host, re.ASCII) is None:
            raise Unfit(self.allowed)
        if parts.scheme == "http" and host not in ("localhost", "127.0.0.1", "::1"):
            raise Unfit(
                'an address with https://; http:// only for "localhost"', "The link in a letter acts like a key."
            )
        return text.rstrip("/")


class ChannelUrl(Form):
    """Where alerts go; it holds a token or password more often than not, so all of it is secret."""

    allowed = 'a URL with its scheme, such as "mailto://…" or "json://…"'
    secret = True

    def read(self, value: object, info: ValidationInfo) -> SecretStr:  # noqa: ARG002
        return value if isinstance(value, SecretStr) else self.judge(value)

    def judge(self, value: object) -> SecretStr:
        """The address as a secret; raises Unfit when it is none."""
        text = text_of(value, self.allowed).strip()
        if re.fullmatch(r"[A-Za-z][A-Za-z0-9+.-]*://\S+", text) is None:
            raise Unfit(self.allowed)
        if text.partition("://")[0].casefold() in ("mqtt", "mqtts", "file", "ftp", "ws", "wss"):
            broker = (
                ' For a topic at the broker write kind = "mqtt" and no url.' if text[:4].casefold() == "mqtt" else ""
            )
            raise Unfit(self.allowed, f"That is no way to reach a phone.{broker}")
        return SecretStr(text)

    def write(self, value: SecretStr) -> str:  # noqa: ARG002
        return toml(MASK)


class WebUrl(ChannelUrl):
    """An address that is asked over HTTP; it may hold a token, so all of it is secret."""

    allowed = 'a web address, such as "https://alive.home.arpa/shed"'

    def judge(self, value: object) -> SecretStr:
        text = text_of(value, self.allowed).strip()
        parts = split_url(text, self.allowed)
        if parts.scheme not in ("http", "https") or not parts.hostname or parts.port == 0 or re.search(r"\s", text):
            raise Unfit(self.allowed)
        return SecretStr(text)


class Address(Form):
    """In figures: a name could be looked up to something else tomorrow."""

    allowed = 'an address in figures, such as "127.0.0.1"'

    def read(self, value: object, info: ValidationInfo) -> str:  # noqa: ARG002
        try:
            return str(ipaddress.ip_address(text_of(value, self.allowed)))
        except ValueError:
            raise Unfit(self.allowed) from None


class Host(Form):
    allowed = 'a host name or address to listen on, such as "127.0.0.1" or "0.0.0.0"'

    def read(self, value: object, info: ValidationInfo) -> str:  # noqa: ARG002
        text = text_of(value, self.allowed)
        if re.fullmatch(r"[A-Za-z0-9._:-]{1,253}", text) is None:
            raise Unfit(self.allowed)
        return text
