"""Prints the guide as Markdown, or puts it between its two marks in a file: ``python -m monitor.guide.readme [README.md]``."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

from monitor.guide import ENTRIES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.guide.entry import Default, Entry

BEGIN: Final = "<!-- the guide: made by python -m monitor.guide.readme README.md -->"
END: Final = "<!-- end of the guide -->"


def markdown() -> str:
    """The part of README between the marks: a table of all alarms, then one entry for each."""
    rows = [f"| `{one.example}` | {one.title.lower()} | {one.priority} | {one.todo[0]} |" for one in ENTRIES.values()]
    table = ["| alarm | what | priority | first |", "|---|---|---|---|", *rows]
    return "\n".join([*table, "", *(line for one in ENTRIES.values() for line in _entry(one))]).rstrip() + "\n"


def _entry(one: Entry) -> list[str]:
    return [
        f'<details id="{one.rule}"><summary><code>{one.rule}</code>: {one.title}</summary>',
        "",
        f"{one.meaning} Priority: {one.priority}.",
        "",
        *(f"{number}. {step}" for number, step in enumerate(one.todo, 1)),
        "",
        f"**Then.** {one.then}",
        "",
        *(_default(default) for default in one.defaults),
        "",
        f"**Rings too often?** {one.quieter}",
        "",
        "</details>",
        "",
    ]


def _default(one: Default) -> str:
    change = f" To change: {one.change}." if one.change else ""
    return f"- {one.what.capitalize()}: **{one.value}**; {one.why}.{change}"


def replaced(text: str) -> str:
    """The text with the guide of today between its marks. Raises ValueError when it has no marks."""
    before, begin, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not (begin and end):
        raise ValueError(f"found no place for the guide; allowed is a text with the lines {BEGIN} and {END}")
    return f"{before}{BEGIN}\n\n{markdown()}\n{END}{after}"


def main(arguments: Sequence[str]) -> None:
    """Print, or rewrite the file that is named."""
    if not arguments:
        sys.stdout.write(markdown())
        return
    path = Path(arguments[0])
    path.write_text(replaced(path.read_text("utf-8")), "utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
