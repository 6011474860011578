"""The table of what is heard: on a terminal while it grows, and nowhere else."""

from __future__ import annotations

from io import StringIO

from monitor.cli.heard import Screen, escaped, spoken, table
from monitor.intake.ear import Topic
from monitor.intake.places import Heard


class Terminal(StringIO):
    def isatty(self) -> bool:
        return True


def topic(name: str, payload: bytes = b"24.1", times: int = 3, *, retained: bool = False) -> Topic:
    made = Topic(name, times, retained, len(payload))
    made.kept.extend(Heard(payload, 10_000 * n) for n in range(times))
    return made


def test_a_topic_is_a_row_with_its_newest_value_its_period_and_its_probe() -> None:
    """In the order of names; a topic without a probe says so."""
    head, first, second = table([topic("b", retained=True), topic("a", times=1)], {"b": ["ash-water", "ash-air"]})
    assert head.split() == ["topic", "newest", "how", "often", "kept", "probe"]
    assert first.split() == ["a", "24.1", "once", "no", "none"]
    assert second.split() == ["b", "24.1", "10", "s", "yes", "ash-water,", "ash-air"]


def test_what_a_terminal_would_obey_is_written_as_its_number() -> None:
    """Escapes, C1 controls, turned text and bytes that are no UTF-8 are told, not sent; long ones are cut."""
    assert escaped("\x1b[2J\u202e") == "\\x1b[2J\\u202e"
    assert spoken(b"\xff\x9b\n24") == "\\xff\\x9b\\n24"
    assert spoken(b"x" * 500) == "x" * 29 + "…"


def test_the_screen_waits_two_seconds_and_fits_the_terminal() -> None:
    """Nothing for short work; then rows, a bar and how to end it, never more lines than there are, cleared at the end."""
    now = 0.0
    shown = Terminal()
    screen = Screen(60, shown, lambda: now)
    topics = [topic(f"t{n:03}") for n in range(100)]
    screen.draw(topics, {}, 1.9)
    assert shown.getvalue() == ""
    screen.draw(topics, {}, 30.0)
    lines = shown.getvalue().splitlines()
    assert len(lines) <= 24
    assert lines[-2] == "and 81 more"
    assert lines[-1].startswith("listening [###############---------------] 30 of 60 s")
    screen.draw(topics, {}, 30.1)
    assert shown.getvalue().splitlines() == lines
    screen.clear()
    assert shown.getvalue().endswith(f"\x1b[{len(lines)}A\x1b[J")


def test_beside_a_terminal_nothing_is_drawn() -> None:
    """A file or a pipe gets the result only."""
    shown = StringIO()
    screen = Screen(60, shown)
    screen.draw([topic("a")], {}, 30.0)
    screen.clear()
    assert shown.getvalue() == ""
