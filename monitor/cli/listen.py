"""``swimup listen``: what the broker carries, and a probe proposed for each topic that has none."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

import click

from monitor.cli import OK, REFUSED
from monitor.cli.client import json_option
from monitor.cli.heard import Screen, cut, escaped, how_often, spoken, table
from monitor.cli.told import plain
from monitor.intake.decode import LARGEST
from monitor.intake.ear import Ear, NotHeard
from monitor.intake.propose import Known, Verdict, propose
from monitor.intake.session import wall_ms
from monitor.settings.append import append_blocks
from monitor.settings.blocks import CHECK, block
from monitor.settings.blocks import table as as_table
from monitor.settings.broker import broker_link
from monitor.settings.discover import config_option, exit_with, find_config, load_or_exit
from monitor.settings.errors import ConfigError, Unfit
from monitor.settings.units import split

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from monitor.intake.ear import Topic
    from monitor.intake.proposal import Proposal, Question
    from monitor.settings.settings import Settings

LEAVE: Final = "leave"


class Deaf(click.ClickException):
    """The broker is not reached, or does not let us listen."""

    exit_code = REFUSED


@click.command()
@click.option("--seconds", type=click.FloatRange(0.5, 86_400), default=60.0, show_default=True, help="How long.")
@click.option(
    "--topic", "filters", multiple=True, default=("#",), show_default=True, metavar="FILTER",
    help="An MQTT topic filter, such as 'shed/#'; may be given again.",
)  # fmt: skip
@click.option("--write", is_flag=True, help="Ask for each proposal whether it goes into the configuration.")
@click.option("--yes", is_flag=True, help="With --write: take all that are decided, without a question.")
@config_option
@json_option
@click.pass_context
def listen(
    context: click.Context,
    seconds: float,
    filters: tuple[str, ...],
    write: bool,
    yes: bool,
    config: Path | None,
    as_program: bool,
) -> None:
    """Listen to the broker, and propose a probe for each topic that has none. Reads only; nothing is published.

    Let each probe speak three times: give --seconds accordingly, or end it with Ctrl-C. While you listen, stop an air
    pump until that was heard, and let it run again, so that both can be told apart.
    """
    if yes and not write:
        raise click.UsageError("--yes answers the questions of --write; give both.")
    if write and as_program:
        raise click.UsageError("--write asks, and --json is for programs; give one of them.")
    settings = load_or_exit(config)
    for one in filters:
        _check_filter(one)
    ear, bound = _heard(settings, filters, seconds)
    known = Known(settings.site.id, tuple(v.id for v in settings.vessels), tuple(s.id for s in settings.cold_stores))
    unbound = [one for name, one in sorted(ear.topics.items()) if name not in bound]
    verdicts = {one.name: _verdict(one, known) for one in unbound}
    if as_program:
        click.echo(json.dumps(_for_programs(ear, bound, verdicts, settings), indent=2))  # all that is no ASCII escaped
        context.exit(OK)
    _tell(ear, bound, seconds)
    blocks = _offer(ear, verdicts, settings, write=write, yes=yes)
    if not write:
        if any(verdict.proposals for verdict in verdicts.values()):
            click.echo("\nPaste what is right into the configuration, or run it again with --write.")
        return
    if not blocks:
        click.echo("\nNothing was written.")
        return
    _write(find_config(config), blocks)


# -- listening


def _check_filter(one: str) -> None:
    steps = one.split("/")
    wrong = not one or "\0" in one or any("#" in step and step != "#" for step in steps) or "#" in steps[:-1]
    if wrong or any("+" in step and step != "+" for step in steps):
        said = f'found "{plain(one)}"; allowed is a filter such as "#", "shed/#" or "shed/+/water"'
        raise click.BadParameter(said, param_hint="--topic")


def _heard(settings: Settings, filters: tuple[str, ...], seconds: float) -> tuple[Ear, dict[str, list[str]]]:
    bound: dict[str, list[str]] = {}
    for probe in settings.probes:
        bound.setdefault(probe.topic, []).append(probe.id)
    try:
        link = broker_link(settings)
    except ConfigError as error:
        exit_with(error)
    ear = Ear(link, filters, wall_ms)
    screen = Screen(seconds)
    try:
        ear.listen(seconds, lambda passed: screen.draw(ear.topics.values(), bound, passed))
    except NotHeard as why:
        raise Deaf(plain(f"{why}.")) from None
    except KeyboardInterrupt:
        ear.ended = "Ctrl-C"
    finally:
        screen.clear()
    return ear, bound


def _verdict(topic: Topic, known: Known) -> Verdict:
    if topic.size > LARGEST:
        return Verdict(passed=(f"{topic.size} bytes; a reading has at most {LARGEST}",))
    return propose(topic.name, list(topic.kept), known)


# -- telling


def _tell(ear: Ear, bound: Mapping[str, list[str]], seconds: float) -> None:
    if not ear.topics:
        passed = f" {ear.own} messages were those of a monitor." if ear.own else ""
        click.echo(f"Nothing was heard in {seconds:g} s.{passed} Do the probes run, and publish to {ear.link.address}?")
    else:
        click.echo("\n".join(table(ear.topics.values(), bound)))
    if ear.ended:
        click.echo(plain(f"It ended early: {ear.ended}."))
    if ear.beyond:
        click.echo(f"There are more topics: {ear.beyond} messages of them were passed over; narrow it with --topic.")


def _offer(ear: Ear, verdicts: Mapping[str, Verdict], settings: Settings, *, write: bool, yes: bool) -> list[str]:
    """Print each proposal; returns the blocks that are to be written."""
    taken = {probe.id for probe in settings.probes}
    blocks = []
    for name, verdict in verdicts.items():
        click.echo()
        if not verdict.proposals:
            why = "; ".join(verdict.passed) or "nothing in it looks like a temperature or like air"
            click.echo(plain(cut(f"# {escaped(name)}: nothing to propose: {why}", 400)))
            continue
        for proposal in verdict.proposals:
            said = f"{escaped(name)}: {_summary(ear.topics[name])}; it would read {proposal.newest}"
            shown = block(proposal, taken, said=cut(said, 200))
            click.echo(plain(shown), nl=False)
            if write and (answers := _answers(proposal, yes=yes)) is not None:
                blocks.append(block(proposal, taken, answers))
                taken.add(proposal.options(taken, answers)["id"])
            elif not write:
                taken.add(proposal.options(taken)["id"])
        for why in verdict.passed:
            click.echo(plain(cut(f"# passed over: {why}", 200)))
    return blocks


def _summary(topic: Topic) -> str:
    times = "once" if topic.messages == 1 else f"{topic.messages} times"
    kept = ", kept by the broker" if topic.retained else ""
    return f"heard {times}{kept}, newest {spoken(topic.newest.payload)}"


def _answers(proposal: Proposal, *, yes: bool) -> dict[str, Any] | None:
    """What a person says to the open questions; None when it is to be left out."""
    if yes:
        if not proposal.decided:
            click.echo(f"Left out, for only you know: {proposal.questions[0].key}.")
            return None
        return {}
    answers: dict[str, Any] = {}
    while (question := proposal.open_with(answers)) is not None:
        answer = _ask(question)
        if answer is None:
            return None
        answers[question.key] = answer
    return answers if click.confirm("Write this into the configuration?", default=False) else None


def _ask(question: Question) -> str | float | None:
    said = plain(f"{question.key}? {question.why}")
    if question.choices:
        answer: str = click.prompt(said, type=click.Choice([*question.choices, LEAVE]), default=LEAVE)
        return None if answer == LEAVE else answer
    typed: str = click.prompt(f"{said} (a number above 0, or {LEAVE})", default=LEAVE)
    try:
        number, unit = split(typed)
    except Unfit:
        number, unit = 0.0, ""
    if typed != LEAVE and (number <= 0 or unit):
        click.echo("That is no number above 0; left out.")
    return number if number > 0 and not unit else None


def _write(path: Path, blocks: list[str]) -> None:
    try:
        backup = append_blocks(path, blocks)
    except ConfigError as error:
        click.echo("Nothing was written, for the whole would not be sound:", err=True)
        exit_with(error)
    count = f"{len(blocks)} probe{'' if len(blocks) == 1 else 's'}"
    click.echo(f"\nWritten: {count} into {path}; the file as it was is {backup.name}. Restart the daemon to use it.")
    if any(CHECK in one for one in blocks):
        click.echo(f'Some lines in it are marked "{CHECK}": look at them first.')


def _for_programs(
    ear: Ear, bound: Mapping[str, list[str]], verdicts: Mapping[str, Verdict], settings: Settings
) -> dict[str, Any]:
    taken = {probe.id for probe in settings.probes}
    return {
        "topics": [
            {
                "topic": topic.name,
                "messages": topic.messages,
                "bytes": topic.size,
                "newest": spoken(topic.newest.payload, 200),
                "every": how_often(topic),
                "retained": topic.retained,
                "probes": list(bound.get(topic.name, ())),
                "proposals": list(_proposed(verdicts.get(topic.name, Verdict()).proposals, taken)),
                "passed": list(verdicts.get(topic.name, Verdict()).passed),
            }
            for topic in ear.topics.values()
        ],
        "ended": ear.ended,
    }


def _proposed(proposals: Iterable[Proposal], taken: set[str]) -> Iterable[dict[str, Any]]:
    for one in proposals:
        options = as_table(one, taken)
        taken.add(options["id"])
        checks = {key: part.check for key, part in one.parts.items() if part.check}
        asked = [{"option": q.key, "choices": list(q.choices), "why": q.why} for q in one.questions]
        yield {"options": options, "check": checks, "questions": asked, "reads": one.newest}
