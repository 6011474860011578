"""What is wrong with a configuration is told in full, and in a keeper's words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from monitor.settings import ConfigError, from_document, load
from monitor.settings.tomlfile import parse_toml

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.settings.errors import Problem

Document = dict[str, Any]


def problems(document: Document, **more: Any) -> dict[str, Problem]:
    """Problems by pointer."""
    with pytest.raises(ConfigError) as caught:
        from_document(document, file="swimup.toml", **more)
    return {problem.pointer: problem for problem in caught.value.problems}


def spoil(document: Document, pointer: str, value: object) -> None:
    """Set one value in the document."""
    *steps, last = pointer[1:].split("/")
    document.setdefault("channel", [{"url": "json://127.0.0.1"}] if "channel" not in steps else [{}])
    place: Any = document
    for step in steps:
        place = place[int(step)] if isinstance(place, list) else place.setdefault(step, {})
    place[int(last) if isinstance(place, list) else last] = value


# Pointer to set, its value, pointer of the problem, words in the message.
CASES: list[tuple[str, object, str, str]] = [
    ("/site/id", "Shed 1", "/site/id", '"shed-1" would do'),
    ("/site/id", "a" * 41, "/site/id", "1 to 40 small letters"),
    ("/site/timezone", "Europe/Berln", "/site/timezone", 'Did you mean "Europe/Berlin"?'),
    ("/site/timezone", "../etc/passwd", "/site/timezone", "IANA time zone"),
    ("/site/feeding_times", ["07:00", "25:00"], "/site/feeding_times", '"25:00" in the list'),
    ("/site/feeding_times", ["7:00", "07:00"], "/site/feeding_times", '"07:00" twice'),
    ("/site/feeding_times", [], "/site/feeding_times", "at least 1"),
    ("/site/feeding_times", "07:00", "/site/feeding_times", "square brackets"),
    ("/broker/url", "tcp://127.0.0.1", "/broker/url", 'Write "mqtt://…"'),
    ("/broker/url", "127.0.0.1", "/broker/url", "mqtt://host:port"),
    ("/broker/url", "mqtt://127.0.0.1:99999", "/broker/url", "mqtt://host:port"),
    ("/broker/url", "mqtt://127.0.0.1/topic", "/broker/url", "Leave away"),
    ("/broker/url", "mqtt://me:pw@127.0.0.1", "/broker/url", "password_file"),
    ("/broker/password", "x", "/broker/password", "password_env"),
    ("/broker/host", "x", "/broker/host", 'Write url = "mqtt://host:port"'),
    ("/broker/ca_file", "ca.pem", "/broker/ca_file", "mqtts://"),
    ("/broker/password_file", "pw", "/broker/user", "the name that goes with the password"),
    ("/broker/version", "4", "/broker/version", '"3.1.1"'),
    ("/broker/keepalive", "1 s", "/broker/keepalive", "from 5 s to 18 h"),
    ("/store/commit_every", "an hour", "/store/commit_every", "a length of time"),
    ("/web/port", 70000, "/web/port", "from 1 to 65535"),
    ("/web/port", True, "/web/port", "whole number"),
    ("/web/prot", 80, "/web/prot", 'Did you mean "port"?'),
    ("/web/key_file", "k.pem", "/web/cert_file", "cert_file and key_file together"),
    ("/vessel/0/litres", "2 tspp", "/vessel/0/litres", 'Did you mean "tsp"?'),
    ("/vessel/0/litres", True, "/vessel/0/litres", "found true"),
    ("/vessel/0/litres", float("nan"), "/vessel/0/litres", "a volume"),
    ("/vessel/0/litres", "1500 L", "/vessel/0/litres", "to 1000 L"),
    ("/vessel/1/id", "ash", "/vessel/1/id", "/vessel/0 has this one"),
    ("/vessel/0/cold_below", "95 F", "/vessel/0/cold_below", "hot_above was not given, so it is 32 C"),
    ("/vessel/0/cold_below", 31.8, "/vessel/0/cold_below", "deadband of 0.5 C"),
    ("/lot/0", 3, "/lot/0", "a table"),
    ("/vessel", {"id": "ash", "litres": 1}, "/vessel", "[[vessel]]"),
    ("/vessel", [], "/vessel", "at least one"),
    ("/probe/0/vessel", "ahs", "/probe/0/vessel", 'Did you mean "ash"?'),
    ("/probe/2/vessel", "ash", "/probe/2/vessel", "belongs to none"),
    ("/probe/2/measures", "air", "/probe/2/vessel", "found nothing"),
    ("/probe/2/measures", "water", "/probe/2/vessel", "ash, birch"),
    ("/probe/0/measures", "watr", "/probe/0/measures", 'Did you mean "water"?'),
    ("/probe/0/topic", "shed/+/water", "/probe/0/topic", "without the wildcards"),
    ("/probe/0/topic", "shed/#", "/probe/0/topic", "without the wildcards"),
    ("/probe/0/topic", "$SYS/uptime", "/probe/0/topic", "belong to the broker"),
    ("/probe/0/topic", "swimup/shed/status", "/probe/0/topic", "does not publish to itself"),
    ("/probe/1/topic", "shed/ash/water", "/probe/1/topic", "a second time"),
    ("/probe/0/decoder", "json", "/probe/0/pointer", 'such as "/temperature"'),
    ("/probe/0/pointer", "/t", "/probe/0/pointer", 'decoder "json" only'),
    ("/probe/0/name", "t", "/probe/0/name", 'decoder "senml" only'),
    ("/probe/0/unit", "W", "/probe/0/unit", '"C", "F" or "K"'),
    ("/probe/0/low", 60, "/probe/0/low", "low lower than high"),
    ("/probe/0/low", "3 g", "/probe/0/low", "which is not a temperature"),
    ("/probe/0/max_change", 0, "/probe/0/max_change", "above 0"),
    ("/probe/0/threshold", 3, "/probe/0/threshold", 'measures = "air" only'),
    ("/probe/1/threshold", 0, "/probe/1/threshold", "could never be stopped"),
    ("/probe/1/pulses", True, "/probe/1/threshold", "at or above which"),
    ("/probe/1/weak_below", 3, "/probe/1/threshold", "at or above which"),
    ("/probe/0/weak_below", 3, "/probe/0/weak_below", 'measures = "air" only'),
    ("/probe/0/words_weak", ["weak"], "/probe/0/words_weak", 'measures = "air" only'),
    ("/probe/1/words_weak", ["dim", "off"], "/probe/1/words_weak", '"off" in both lists'),
    ("/probe/1/words_off", ["on"], "/probe/1/words_off", '"on" in both lists'),
    ("/probe/0/vessle", "ash", "/probe/0/vessle", 'Did you mean "vessel"?'),
    ("/lot/0/label_hatch_percent", 0.85, "/lot/0/label_hatch_percent", "from 1 to 100"),
    ("/channel/0/id", "phone", "/channel/0/url", "one of url, url_file and url_env"),
    ("/channel/0/url", "phone", "/channel/0/url", "a URL with its scheme"),
    ("/channel/0/url", "mqtt://127.0.0.1", "/channel/0/url", "no way to reach a phone"),
    ("/vessels", [], "/vessels", 'Did you mean "vessel"?'),
    ("/litres", 3, "/litres", "is an option of [vessel]"),
    ("/a~b", 3, "/a~0b", "unknown table"),
]


@pytest.mark.parametrize(("pointer", "value", "place", "says"), CASES)
def test_each_mistake_is_told_at_its_place(
    document: Document, pointer: str, value: object, place: str, says: str
) -> None:
    """One mistake gives one problem, whose pointer and words lead a keeper to it."""
    spoil(document, pointer, value)
    found = problems(document)
    assert list(found) == [place]
    assert says in str(found[place])


@pytest.mark.parametrize("weak_below", [2, "2 W", 0.5, -1])
def test_weak_air_is_above_stopped_air(document: Document, weak_below: object) -> None:
    """A limit for weak air at or below the threshold could never be met, and that is told with the threshold."""
    document["probe"][1] |= {"threshold": "2 W", "unit": "W", "weak_below": weak_below}
    found = problems(document)
    assert list(found) == ["/probe/1/weak_below"]
    assert "a number above the threshold of 2, or air could never be weak" in str(found["/probe/1/weak_below"])


def test_words_for_weak_air_are_for_probes_that_tell_words(document: Document) -> None:
    """Words beside a threshold would never be heard."""
    document["probe"][1] |= {"threshold": 2, "words_weak": ["weak"]}
    found = problems(document)
    assert list(found) == ["/probe/1/words_weak"]
    assert "words, or a number with its threshold" in str(found["/probe/1/words_weak"])


@pytest.mark.parametrize("table", ["site", "vessel/0", "probe/0", "lot/0"])
def test_a_missing_id_is_told(document: Document, table: str) -> None:
    """What is required and absent is told with an example of what to write."""
    place: Any = document
    for step in table.split("/"):
        place = place[int(step)] if isinstance(place, list) else place[step]
    del place["id"]
    found = problems(document)
    assert f'(id = "' in str(found[f"/{table}/id"])  # noqa: F541  (the parenthesis is part of the words)


def test_all_problems_are_told_at_once() -> None:
    """Faults of every sort, several in one table, are told together and in the order of the document."""
    document = {
        "site": {"id": "Shed", "timezone": "Mars", "feeding_times": ["x"]},
        "vessel": [{"id": "ash", "litres": "x"}, {"id": "ash", "litres": 1, "cold_below": 40}],
        "probe": [
            {"id": "a", "topic": "+", "measures": "water", "vessel": "nowhere", "every": "soon", "decoder": "json"},
            {"id": "b", "topic": "t", "measures": "air", "threshold": 1, "deadband": 2, "unknwon": 1},
        ],
        "web": {"host": "0.0.0.0"},  # noqa: S104  (it is refused)
        "channel": [{}],
    }
    assert list(problems(document)) == [
        "/site/id",
        "/site/timezone",
        "/site/feeding_times",
        "/vessel/0/litres",
        "/vessel/1/id",
        "/vessel/1/cold_below",
        "/probe/0/topic",
        "/probe/0/every",
        "/probe/0/vessel",
        "/probe/0/pointer",
        "/probe/1/unknwon",
        "/probe/1/vessel",
        "/probe/1/deadband",
        "/web/host",
        "/channel/0/url",
    ]


def test_a_page_that_others_reach_needs_password_and_tls(document: Document) -> None:
    """Listening beyond this machine is refused with the commands that help, until password and TLS are there."""
    document["web"] = {"host": "192.0.2.7"}
    told = str(problems(document)["/web/host"])
    assert "swimup password" in told
    assert "swimup cert" in told
    document["web"] |= {"password_file": "p", "cert_file": "c", "key_file": "k"}
    assert from_document(document).settings.web.host == "192.0.2.7"


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1", "127.1.2.3"])
def test_loopback_needs_neither(document: Document, host: str) -> None:
    """The page on this machine alone needs no password."""
    document["web"] = {"host": host}
    assert from_document(document).settings.web.host == host


def test_a_vessel_with_a_bad_id_does_not_accuse_its_probes(document: Document) -> None:
    """One mistake in a vessel's id is told once, not again for each of its probes."""
    document["vessel"] = [{"id": "Ash", "litres": 1.5}]
    assert list(problems(document)) == ["/vessel/0/id"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[site]\nid = shed\n", "line 2"),
        ("[site\n", "line 1"),
        ('a = "', "end of document"),
        ("a = " + "[" * 5000, "TOML"),
        ("a = " + "9" * 5000, "TOML"),
        ("a = 2026-13-45", "TOML"),
        ("[broker]\npassword = hunter2\n", "line 2, column 12"),
    ],
)
def test_a_mistake_in_the_toml_is_told_with_its_line(text: str, says: str) -> None:
    """What is not TOML is told with its line, and without quoting it."""
    with pytest.raises(ConfigError) as caught:
        parse_toml(text, "swimup.toml")
    (problem,) = caught.value.problems
    assert says in str(problem)
    assert "hunter2" not in str(problem)


def test_files_that_are_no_text_are_told(tmp_path: Path) -> None:
    """A missing file, a folder and a file that is not UTF-8 are each one clear problem."""
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"a = '\xff'")
    for path in (tmp_path / "none.toml", tmp_path, binary, tmp_path / "a\x00b"):
        with pytest.raises(ConfigError) as caught:
            load(path)
        (problem,) = caught.value.problems
        assert problem.file == str(path)


def test_a_byte_order_mark_is_harmless(tmp_path: Path) -> None:
    """A file saved with a byte order mark loads."""
    path = tmp_path / "swimup.toml"
    path.write_text(
        '[site]\nid = "shed"\ntimezone = "UTC"\nfeeding_times = [07:00:00]\n[[vessel]]\nid = "ash"\nlitres = 1\n',
        encoding="utf-8-sig",
    )
    assert load(path).site.feeding_times == ("07:00",)


def test_a_mistake_on_the_command_line_is_told_as_such(document: Document) -> None:
    """A problem names the command line when the value came from there, and the file otherwise."""
    overlay = {"web": {"port": 0}, "channel": [{"url": "nonsense"}]}
    document["site"]["id"] = "Shed"
    found = problems(document, overlay=overlay)
    assert {pointer: problem.file for pointer, problem in found.items()} == {
        "/site/id": "swimup.toml",
        "/web/port": "the command line",
        "/channel/0/url": "the command line",
    }
