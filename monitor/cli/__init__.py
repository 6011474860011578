"""``swimup``: one command, one file per group of subcommands, each loaded only when it is used."""

from __future__ import annotations

import gc
from importlib import import_module
from typing import NamedTuple

import click

OK, REFUSED, USAGE = 0, 1, 2
"""Exit codes: done; the daemon refused or does not answer; the call or the configuration is wrong."""


class _Place(NamedTuple):
    module: str
    name: str
    help: str


COMMANDS = {
    "run": _Place("monitor.cli.run", "run", "Run the daemon in the foreground."),
    "check": _Place("monitor.cli.check", "check", "Check the configuration; tell all problems at once."),
    "listen": _Place("monitor.cli.listen", "listen", "Hear what the broker carries; propose a probe for each topic."),
    "status": _Place("monitor.cli.status", "status", "Tell how the bench stands."),
    "rooms": _Place("monitor.cli.rooms", "rooms", "Tell how this room stands, and the others that are heard."),
    "doctor": _Place("monitor.cli.doctor", "doctor", "Tell how machine and service fare, and what to do about it."),
    "batch": _Place("monitor.cli.batch", "batch", "Note what happens to a batch: start, seen, harvest, discard, undo."),
    "vessel": _Place(
        "monitor.cli.vessel", "vessel", "Note that you work on a vessel, or let it settle: its alarms wait."
    ),
    "count": _Place("monitor.cli.count", "count", "Tell what counted drops say: how many swim, and what hatched."),
    "salt": _Place("monitor.cli.salt", "salt", "Tell how much salt to weigh, and what a hydrometer means."),
    "costs": _Place("monitor.cli.costs", "costs", "Tell what food has cost, and which tin is the cheapest."),
    "store": _Place("monitor.cli.store", "store", "Note what goes into a cold store and out of it."),
    "tin": _Place("monitor.cli.tin", "tin", "Tell of tins: bought, opened, weighed; list what is left in them."),
    "feed": _Place("monitor.cli.feed", "feed", "Note what a brood was fed."),
    "ledger": _Place("monitor.cli.ledger", "ledger", "List what amounts rest on, and put an entry right."),
    "food": _Place("monitor.cli.food", "food", "Tell what lies ahead for each meal, and what to start when."),
    "brood": _Place("monitor.cli.brood", "brood", "Tell of larvae, and list when they swim up and what they need."),
    "eater": _Place("monitor.cli.eater", "eater", "Say what others than larvae get every day."),
    "alarm": _Place("monitor.cli.alarm", "alarm", "List alarms, acknowledge them, put them off; test the channels."),
    "probe": _Place("monitor.cli.probe", "probe", "Publish what is wired to this board, or list it."),
    "replay": _Place("monitor.cli.replay", "replay", "Tell what would have been said over recorded readings."),
    "score": _Place("monitor.cli.score", "score", "Score the forecasts over batches whose outcome is known."),
    "export": _Place("monitor.cli.export", "export", "Write the history into a folder of plain files."),
    "import": _Place("monitor.cli.bring", "bring", "Take an exported history into an empty store."),
    "backup": _Place("monitor.cli.backup", "backup", "Make a backup of the store now, or list those there are."),
    "restore": _Place("monitor.cli.restore", "restore", "Go back to a backup; also onto a new card."),
    "password": _Place(
        "monitor.cli.password", "password", "Set the password of the page, the keeper's or the viewers'."
    ),
    "token": _Place("monitor.cli.token", "token", "Make, list and revoke tokens for programs."),
    "cert": _Place("monitor.cli.cert", "cert", "Make a certificate for the page, and an authority of your own."),
}


class LazyGroup(click.Group):
    """Lists its commands from the table above, so that ``swimup --help`` loads none of them."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  (click's signature)
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        place = COMMANDS.get(cmd_name)
        if place is None:
            return None
        gc.disable()  # nothing of what is loaded goes away, so that looking for it only takes time
        try:
            command = getattr(import_module(place.module), place.name)
        finally:
            gc.enable()
        if not isinstance(command, click.Command):
            raise TypeError(f"{place.module}.{place.name} is not a command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl([(name, place.help) for name, place in COMMANDS.items()])


def _print_version(context: click.Context, _parameter: click.Parameter, wanted: bool) -> None:
    if wanted and not context.resilient_parsing:
        from importlib.metadata import version  # noqa: PLC0415  (half of the start, needed for this alone)

        click.echo(f"swimup {version('swimup')}")
        context.exit(OK)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.option(
    "--version", is_flag=True, expose_value=False, is_eager=True, callback=_print_version, help="Tell the version."
)
def swimup() -> None:
    """Watch vessels in which brine shrimp hatch: when each will be ready, and when a person must act."""


def main() -> None:
    """The entry point of the command ``swimup``."""
    swimup(prog_name="swimup")
