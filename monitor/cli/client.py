"""How the command line talks to the daemon on this machine. Every failure says what to do and ends with its exit code."""

from __future__ import annotations

import json
import ssl
from typing import TYPE_CHECKING, Any, Self
from urllib.parse import quote

import click
import httpx

from monitor.settings.discover import load_or_exit
from monitor.web.options import WebOptions, WebProblem

if TYPE_CHECKING:
    from pathlib import Path
    from types import TracebackType

json_option = click.option("--json", "as_program", is_flag=True, help="Print for programs.")


class NoDaemon(click.ClickException):
    """Nobody answers, or not in a way that is understood."""

    exit_code = 1


class Said(click.ClickException):
    """The daemon refused; it told why."""

    exit_code = 1


class WrongSetUp(click.ClickException):
    exit_code = 2


class Client:
    """A connection to the daemon that the configuration describes."""

    def __init__(self, config: Path | None) -> None:
        try:
            options = WebOptions.from_settings(load_or_exit(config))
        except WebProblem as problem:
            raise WrongSetUp(str(problem)) from problem
        host = _reachable(options.host)
        self.url = f"{'https' if options.tls else 'http'}://{host}:{options.port}"
        self._http = httpx.Client(
            base_url=f"{self.url}/api/v1",
            headers={"Authorization": f"Bearer {_token(options)}", "Host": f"localhost:{options.port}"},
            verify=_trust(options.cert_file) if options.cert_file else True,
            timeout=15.0,
            trust_env=False,  # a proxy is not on the way to this machine
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        self._http.close()

    def get(self, path: str) -> dict[str, Any]:
        return self._ask("GET", path, None)

    def post(self, path: str, body: dict[str, Any]) -> dict[str, Any]:
        """``body`` without what is None: the daemon has its own defaults."""
        return self._ask("POST", path, {name: value for name, value in body.items() if value is not None})

    def _ask(self, method: str, path: str, body: dict[str, Any] | None) -> dict[str, Any]:
        try:
            answer = self._http.request(method, path, json=body)
        except httpx.ConnectError as error:
            raise NoDaemon(f"No daemon answers at {self.url} ({error}); start it with: swimup run") from error
        except httpx.TimeoutException as error:
            raise NoDaemon(
                f"The daemon at {self.url} did not answer within 15 s; see its log. What you asked may still have been done."
            ) from error
        except httpx.HTTPError as error:
            raise NoDaemon(
                f"Talking to the daemon at {self.url} failed: {error}. Try again, or see its log."
            ) from error
        return self._understood(answer)

    def _understood(self, answer: httpx.Response) -> dict[str, Any]:
        try:
            told = answer.json()
        except (json.JSONDecodeError, UnicodeDecodeError) as error:
            raise NoDaemon(f"What answers at {self.url} is not swimup. Is the port taken by something else?") from error
        if not isinstance(told, dict):
            raise NoDaemon(f"What answers at {self.url} is not swimup. Is the port taken by something else?")
        if answer.status_code == 401:
            raise Said(f"{told.get('detail', '')} Does {self.url} belong to this configuration's daemon?")
        if answer.is_error:
            raise Said(str(told.get("detail") or told.get("title") or f"refused with status {answer.status_code}"))
        return told


def segment(name: str) -> str:
    """A name as it stands in a path."""
    return quote(name, safe="")


def _reachable(host: str) -> str:
    """Where to knock: the address itself, or this machine where the daemon listens on all."""
    if host in ("0.0.0.0", "::"):  # noqa: S104  (compared, not bound)
        return "127.0.0.1" if host == "0.0.0.0" else "[::1]"  # noqa: S104
    return f"[{host}]" if ":" in host else host


def _token(options: WebOptions) -> str:
    path = options.token_file
    try:
        return path.read_text("ascii").strip()
    except FileNotFoundError:
        raise NoDaemon(
            f'No daemon has run with this configuration yet (there is no "{path}"); start it with: swimup run'
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise NoDaemon(
            f'The token in "{path}" cannot be read ({error}); run this as the user that runs the daemon.'
        ) from error


def _trust(certificate: Path) -> ssl.SSLContext:
    """Exactly the certificate in the configuration, whatever names it is for: it lies on this machine."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname = False
    context.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN
    try:
        context.load_verify_locations(certificate)
    except (OSError, ssl.SSLError) as error:
        raise WrongSetUp(f'web.cert_file "{certificate}" cannot be used ({error}).') from error
    return context
