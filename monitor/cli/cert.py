"""``swimup cert``: TLS for the page without anybody else's help."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from monitor.cli.certificates import Pair, general_name, make_authority, make_server, read_pair, utc_now
from monitor.cli.client import WrongSetUp
from monitor.web.secretfile import write_owner_only

if TYPE_CHECKING:
    from datetime import datetime

_ALWAYS: Final = ("localhost", "127.0.0.1", "::1")

_TRUST: Final = """\
To trust it on a phone, once:
  1. Bring {authority} to the phone (mail it to yourself, or a cable). Never the .key files.
  2. Android: Settings, search for "CA certificate", install it as a CA certificate.
     iOS: open the file and install the profile in Settings; then, under General, About,
     Certificate Trust Settings, switch full trust on for it.
  3. Compare the fingerprint the phone shows with the one above before you agree.
Whoever has ca.key can pretend to be any site to such a phone: keep it off line if you can.
"""


@click.command()
@click.argument("names", nargs=-1, required=True, metavar="NAME...")
@click.option(
    "--dir",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("tls"),
    show_default=True,
    help="Where to write.",
)
@click.option("--renew", is_flag=True, help="Make a new authority too: phones must then be told again.")
def cert(names: tuple[str, ...], folder: Path, renew: bool) -> None:
    """Make a certificate for the page, for each NAME (host name or address) by which it is reached.

    The first time an authority is made that signs it. Later calls use that one, so that phones which trust it go on to.
    """
    for name in names:
        try:
            general_name(name)
        except ValueError as problem:
            raise click.UsageError(f"{problem}; write it as in shed.home.arpa or 192.168.1.20.") from problem
    now = utc_now()
    try:
        authority, made = _authority(folder, now, names[0], renew=renew)
        server = make_server(now, authority, tuple(dict.fromkeys((*names, *_ALWAYS))))
        # The certificate with its authority behind it, so that a client sees the whole chain.
        write_owner_only(folder / "page.key", server.key_pem)
        write_owner_only(folder / "page.pem", server.certificate_pem + authority.certificate_pem, 0o644)
    except OSError as problem:
        raise WrongSetUp(f'"{folder}" cannot be written ({problem.strerror}).') from problem
    _tell(folder, authority, server, made=made)


def _authority(folder: Path, now: datetime, site: str, *, renew: bool) -> tuple[Pair, bool]:
    """The authority kept in ``folder``, or a new one; whether it is new. Never replaces one unasked."""
    certificate, key = folder / "ca.pem", folder / "ca.key"
    present = [path for path in (certificate, key) if path.exists()]
    if not present or renew:
        pair = make_authority(now, site)
        write_owner_only(key, pair.key_pem)
        write_owner_only(certificate, pair.certificate_pem, 0o644)
        return pair, True
    if len(present) == 1:
        raise WrongSetUp(
            f"There is {present[0]} but not its other half. Put it back, or make a new authority with --renew."
        )
    try:
        pair = read_pair(certificate.read_bytes(), key.read_bytes())
    except ValueError as problem:
        raise WrongSetUp(
            f"{certificate} and {key} can't be used ({problem}). Make a new authority with --renew."
        ) from problem
    if pair.certificate.not_valid_after_utc <= now:
        raise WrongSetUp(f"{certificate} has run out. Make a new authority with --renew.")
    return pair, False


def _tell(folder: Path, authority: Pair, server: Pair, *, made: bool) -> None:
    click.echo(f"{'Made' if made else 'Used'} the authority in {folder / 'ca.pem'}, SHA-256 fingerprint:")
    click.echo(f"  {authority.fingerprint}")
    ends = server.certificate.not_valid_after_utc
    click.echo(f"Made {folder / 'page.pem'}, good until {ends:%Y-%m-%d}; call this again before then.")
    click.echo("Under [web] in the configuration:")
    click.echo(f'  cert_file = "{folder.resolve() / "page.pem"}"')
    click.echo(f'  key_file = "{folder.resolve() / "page.key"}"')
    if made:
        click.echo()
        click.echo(_TRUST.format(authority=folder / "ca.pem"), nl=False)
