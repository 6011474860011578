"""Secrets, read at the moment they are needed and from where the configuration says: a file or the environment.

They are no part of loading, so that a recorded night can be replayed on a machine that has none of them.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from pydantic import SecretStr

from monitor.settings.channels import SECRET_LENGTH, judge_webhook
from monitor.settings.errors import ConfigError, Problem, Unfit, join
from monitor.settings.names import ChannelUrl, WebUrl

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from monitor.settings.base import Section
    from monitor.settings.models import Channel
    from monitor.settings.settings import Settings


def broker_password(settings: Settings) -> SecretStr | None:
    """The broker's password, or None where none is configured. Raises ConfigError when it cannot be read."""
    broker = settings.broker
    return _secret(settings, "/broker", "password", broker.password_file, broker.password_env)


def web_password_hash(settings: Settings) -> SecretStr | None:
    """The argon2 hash of the page's password, or None. Raises ConfigError when it cannot be read or is no hash."""
    return _page_hash(settings, "password", settings.web.password_file, "swimup password")


def viewer_password_hash(settings: Settings) -> SecretStr | None:
    """The same for those who may only look. Raises ConfigError likewise."""
    return _page_hash(settings, "viewer_password", settings.web.viewer_password_file, "swimup password --viewer")


def _page_hash(settings: Settings, what: str, file: Path | None, maker: str) -> SecretStr | None:
    told = _secret(settings, "/web", what, file, None)
    if told is not None and not told.get_secret_value().startswith("$argon2"):
        found, allowed = "a file without an argon2 hash", f'what "{maker}" writes'
        raise ConfigError([_problem(settings, f"/web/{what}_file", found, allowed)])
    return told


def channel_urls(settings: Settings) -> tuple[tuple[str, SecretStr], ...]:
    """Id and address of each channel that has one. Raises ConfigError with all that cannot be read or are no addresses."""
    return _of_each(settings, _channel_url, ("apprise", "webhook"))


def channel_secrets(settings: Settings) -> tuple[tuple[str, SecretStr], ...]:
    """Id and signing secret of each webhook. Raises ConfigError with all that cannot be read or are too short."""
    return _of_each(settings, _channel_secret, ("webhook",))


def series_tokens(settings: Settings) -> tuple[tuple[str, SecretStr], ...]:
    """Id and token of each time-series server that has one. Raises ConfigError with all that cannot be read."""
    found: list[tuple[str, SecretStr]] = []
    problems: list[Problem] = []
    for index, server in enumerate(settings.series_servers):
        try:
            token = _secret(settings, join("series_server", index), "token", server.token_file, server.token_env)
        except ConfigError as error:
            problems += error.problems
        else:
            found += [] if token is None else [(server.id, token)]
    if problems:
        raise ConfigError(problems)
    return tuple(found)


def heartbeat_url(settings: Settings) -> SecretStr | None:
    """Where the sign of life goes, or None. Raises ConfigError when it cannot be read or is no web address."""
    heartbeat = settings.heartbeat
    if heartbeat.url is not None:
        return heartbeat.url
    told = _secret(settings, "/heartbeat", "url", heartbeat.url_file, heartbeat.url_env)
    if told is None:
        return None
    try:
        return WebUrl().judge(told.get_secret_value())
    except Unfit as unfit:
        key = "url_file" if heartbeat.url_file else "url_env"
        problem = _problem(settings, f"/heartbeat/{key}", "something that is no web address", unfit.allowed)
        raise ConfigError([problem]) from None


def _of_each(
    settings: Settings, read: Callable[[Settings, str, Channel], SecretStr], kinds: tuple[str, ...]
) -> tuple[tuple[str, SecretStr], ...]:
    found: list[tuple[str, SecretStr]] = []
    problems: list[Problem] = []
    for index, channel in enumerate(settings.channels):
        if channel.kind not in kinds:
            continue
        try:
            found.append((channel.id, read(settings, join("channel", index), channel)))
        except ConfigError as error:
            problems += error.problems
    if problems:
        raise ConfigError(problems)
    return tuple(found)


def outside_problems(settings: Settings) -> tuple[Problem, ...]:
    """What the configuration names and this machine, for this user, does not have: files, variables, secrets."""
    problems: list[Problem] = []
    for look in (
        broker_password,
        web_password_hash,
        viewer_password_hash,
        heartbeat_url,
        channel_urls,
        channel_secrets,
        series_tokens,
    ):
        try:
            look(settings)
        except ConfigError as error:
            problems += error.problems
    problems += _missing_files(settings)
    return tuple(problems)


def _channel_url(settings: Settings, pointer: str, channel: Channel) -> SecretStr:
    if channel.url is not None:
        return channel.url
    told = _secret(settings, pointer, "url", channel.url_file, channel.url_env)
    key = "url_file" if channel.url_file else "url_env"
    form = ChannelUrl()
    try:
        url = form.judge(told.get_secret_value() if told else "")
        if channel.kind == "webhook":
            judge_webhook(url.get_secret_value())
    except Unfit as unfit:
        problem = _problem(settings, pointer + join(key), "something that is no address", unfit.allowed, unfit.hint)
        raise ConfigError([problem]) from None
    return url


def _channel_secret(settings: Settings, pointer: str, channel: Channel) -> SecretStr:
    told = _secret(settings, pointer, "secret", channel.secret_file, channel.secret_env)
    if told is None or len(told.get_secret_value()) < SECRET_LENGTH:
        key = "secret_file" if channel.secret_file else "secret_env"
        allowed = f"{SECRET_LENGTH} letters or more"
        hint = "A short one can be guessed. Make one: openssl rand -hex 32"
        raise ConfigError([_problem(settings, pointer + join(key), "a secret that is too short", allowed, hint)])
    return told


def _secret(settings: Settings, pointer: str, what: str, file: Path | None, variable: str | None) -> SecretStr | None:
    """The first line of a file, or a variable; None where neither is configured."""
    if variable is not None:
        value = os.environ.get(variable, "")
        if not value:
            found = f"the environment variable {variable} unset or empty"
            raise ConfigError(
                [_problem(settings, pointer + join(f"{what}_env"), found, "a variable that holds the secret")]
            )
        return SecretStr(value)
    if file is None:
        return None
    key = f"{what}_file"
    try:
        lines = file.read_bytes().decode("utf-8-sig").splitlines()
    except OSError as error:
        found = f'"{file}", which cannot be read: {error.strerror}'
        raise ConfigError([_problem(settings, pointer + join(key), found, "a file this user may read")]) from None
    except UnicodeDecodeError:
        raise ConfigError([_problem(settings, pointer + join(key), f'"{file}", not UTF-8', "a text file")]) from None
    if not lines or not lines[0].strip():
        raise ConfigError(
            [_problem(settings, pointer + join(key), f'"{file}", whose first line is empty', "the secret alone")]
        )
    return SecretStr(lines[0].strip())


def _missing_files(settings: Settings) -> Iterator[Problem]:
    sections: list[tuple[str, Section]] = [(join("broker"), settings.broker), (join("web"), settings.web)]
    sections += [(join("channel", index), channel) for index, channel in enumerate(settings.channels)]
    sections += [(join("series_server", index), server) for index, server in enumerate(settings.series_servers)]
    for pointer, section in sections:
        for key in ("ca_file", "cert_file", "key_file"):
            file: Path | None = getattr(section, key, None)
            if file is not None and not os.access(file, os.R_OK):
                yield _problem(
                    settings, pointer + join(key), f'"{file}", which cannot be read', "a file this user may read"
                )


def _problem(settings: Settings, pointer: str, found: str, allowed: str, hint: str = "") -> Problem:
    return Problem(settings.file, pointer, found, allowed, hint)
