"""A proposed probe as a block of TOML that can be pasted, each option with its reason beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.settings import units
from monitor.settings.forms import toml

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from monitor.intake.proposal import Proposal

CHECK = "please check"


def block(
    proposal: Proposal, taken: Collection[str] = (), answers: Mapping[str, Any] | None = None, said: str = ""
) -> str:
    """The block, ready to be pasted. While a question is open the whole of it is a comment, so that nothing is in force.

    ``said`` is a line above it: what was heard.
    """
    answers = answers or {}
    options = proposal.options(taken, answers)
    lines = [_line(key, value, *_reason(proposal, key, answers)) for key, value in options.items()]
    open_ones = [one for one in proposal.questions if one.key not in answers] if proposal.open_with(answers) else []
    for question in open_ones:
        choices = ", ".join(toml(choice) for choice in question.choices) or "a number above 0"
        lines.append(f"{question.key} =   # say which: {choices} ({comment(question.why)})")
    head = [f"# {comment(said)}"] if said else []
    if open_ones:
        head.append('# Not decided: fill in what is empty, drop what does not apply, and take the "# " away.')
        return "\n".join([*head, "# [[probe]]", *(f"# {line}" for line in lines)]) + "\n"
    return "\n".join([*head, "[[probe]]", *lines]) + "\n"


def table(proposal: Proposal, taken: Collection[str] = (), answers: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """The same as the table that the block reads as."""
    return {key: _written(key, value) for key, value in proposal.options(taken, answers).items()}


def comment(text: str) -> str:
    """Fit to stand behind a "#": one line, nothing that a terminal would obey."""
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text)[:300]


def _line(key: str, value: Any, why: str, check: str) -> str:
    written = f"{key} = {toml(_written(key, value))}"
    if check:
        return f"{written}  # {CHECK}: {comment(check)}{comment(f' ({why})') if why else ''}"
    return f"{written}  # {comment(why)}" if why else written


def _written(key: str, value: Any) -> Any:
    return units.write_duration(value) if key == "every" else value


def _reason(proposal: Proposal, key: str, answers: Mapping[str, Any]) -> tuple[str, str]:
    if key in answers:
        return "as you said", ""
    part = proposal.parts.get(key)
    return ("", "") if part is None else (part.why, part.check)
