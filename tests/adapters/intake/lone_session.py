"""A session in a process of its own, to be killed: prints what it hears and acknowledges nothing.

Arguments: port, client id, topic.
"""

from __future__ import annotations

import sys
import threading

from monitor.intake.session import Incoming, Link, Session


def say(word: str) -> None:
    sys.stdout.write(word + "\n")
    sys.stdout.flush()


def heard(incoming: Incoming) -> None:
    say(f"message {incoming.payload.decode()}")


def main() -> None:
    port, client_id, topic = sys.argv[1:]
    link = Link("127.0.0.1", int(port), client_id)
    Session(link, [topic], "shed", heard, lambda up, _text: say("up" if up else "down")).start()
    threading.Event().wait()


if __name__ == "__main__":
    main()
