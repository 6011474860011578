from __future__ import annotations

import json
import re
import ssl
import stat
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner, Result
from cryptography import x509

from monitor.cli import swimup
from monitor.cli.certificates import make_authority, make_server, read_pair, utc_now
from monitor.core.log import Discard, Harvest, Seen, Sight, Start
from monitor.core.model import HOUR, MINUTE, Acknowledge, PutBackInService, Shelve, TakeOutOfService, Unshelve
from monitor.web.access import write_password
from tests.adapters.web.kept import desk_with_past
from tests.adapters.web.memory_desk import NOW, MemoryDesk, bad_night

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.adapters.web.conftest import Served

    Swimup = Callable[..., Result]

CONFIG = """
[site]
id = "shed"
timezone = "Europe/Berlin"
feeding_times = ["07:00", "19:00"]
[broker]
url = "mqtt://127.0.0.1:1883"
[store]
path = "{state}/shed.sqlite3"
[web]
port = {port}
{more}
[[vessel]]
id = "ash"
litres = 1.5
[[probe]]
id = "ash-water"
topic = "shed/ash/water"
decoder = "number"
measures = "water"
vessel = "ash"
unit = "C"
every = "10 s"
"""


@pytest.fixture
def run(tmp_path: Path) -> Callable[..., Result]:
    """Run the command against a daemon's port, with a configuration of its own."""

    def call(port: int, *words: str, more: str = "", stdin: str | None = None) -> Result:
        config = tmp_path / "swimup.toml"
        config.write_text(CONFIG.format(state=tmp_path / "state", port=port, more=more))
        return CliRunner(env={"SWIMUP_CONFIG": str(config)}).invoke(swimup, words, input=stdin)

    return call


def test_the_story_of_a_batch_is_printed_day_by_day(serve: Callable[..., Served], run: Swimup, tmp_path: Path) -> None:
    """The opening, then each day with what happened at which time; for programs the same as the API has it."""
    served = serve(desk_with_past(tmp_path))
    told = run(served.server.port, "batch", "story", "birch-2026-02-26")
    assert told.exit_code == 0
    lines = told.output.splitlines()
    assert lines[0] == "birch-2026-02-26"
    assert lines[1].startswith("2 g of tin-6 in birch, started Thu 26 Feb 08:10, was harvested after 30 h")
    assert "Fri 27 Feb" in lines
    assert "  04:10  You looked: some swam, counted 40 % of the cysts (noted 05:10)." in lines
    assert max(map(len, lines)) <= 100
    as_program = json.loads(run(served.server.port, "batch", "story", "birch-2026-02-26", "--json").output)
    with served.client() as client:
        answer = client.get("/api/v1/batches/birch-2026-02-26").json()
    assert as_program == {"batch": answer["id"], "summary": answer["summary"], "story": answer["story"]}
    assert "lists all" in run(served.server.port, "batch", "story", "oak").output


@pytest.mark.parametrize(
    ("words", "command", "told"),
    [
        (
            ["batch", "start", "cedar", "--cysts", "1500 mg", "--water", "0.25 gal", "--time", "01:40"],
            Start(NOW - 30 * MINUTE, NOW, "", "cedar", "tin-7", 1.5, 0.946352946, 25.0),
            "Noted: cedar-2026-03-02 is under way in cedar. Ready about today 06:45.",
        ),
        (
            ["batch", "start", "cedar", "--cysts", "2 g", "--lot", "tin-6", "--salt", "30 ppt", "--name", "trial"],
            Start(NOW, NOW, "trial", "cedar", "tin-6", 2.0, 1.0, 30.0),
            "Noted: trial is under way in cedar. Ready about today 06:45.",
        ),
        (
            ["batch", "seen", "ash", "some", "--fraction", "40 %"],
            Seen(NOW, NOW, "ash-2026-03-01", Sight.SOME, 0.4),
            "Noted for ash-2026-03-01: some swim. Ready about today 06:45.",
        ),
        (
            ["batch", "harvest", "birch-2026-03-01", "--nauplii", "180 000", "--time", "2 h ago"],
            Harvest(NOW - 2 * HOUR, NOW, "birch-2026-03-01", None, 180_000),
            "Noted: birch-2026-03-01 is harvested.",
        ),
        (
            ["batch", "discard", "ash", "--reason", "smells"],
            Discard(NOW, NOW, "ash-2026-03-01", "smells"),
            "Noted: ash-2026-03-01 is thrown away.",
        ),
        (
            ["alarm", "ack", "air-stopped:birch"],
            Acknowledge(NOW, "air-stopped:birch", "cli"),
            "Acknowledged: air-stopped:birch.",
        ),
        (
            ["alarm", "shelve", "cold-snap:ash", "--for", "30min"],
            Shelve(NOW, "cold-snap:ash", NOW + 30 * MINUTE, "cli"),
            "Shelved for 30min: cold-snap:ash.",
        ),
        (
            ["alarm", "unshelve", "cold-snap:ash"],
            Unshelve(NOW, "cold-snap:ash", "cli"),
            "Off the shelf: cold-snap:ash.",
        ),
        (
            ["alarm", "out", "cold-snap:ash", "--why", "on purpose"],
            TakeOutOfService(NOW, "cold-snap:ash", "cli", "on purpose"),
            "Out of service until you put it back: cold-snap:ash.",
        ),
        (
            ["alarm", "back", "cold-snap:ash"],
            PutBackInService(NOW, "cold-snap:ash", "cli"),
            "Back in service: cold-snap:ash.",
        ),
    ],
)
def test_each_entry_of_the_log_is_one_command(
    served: Served, run: Swimup, words: list[str], command: object, told: str
) -> None:
    """What a keeper types reaches the service in its own units, and one sentence confirms it."""
    result = run(served.server.port, *words)
    assert (result.exit_code, result.output) == (0, told + "\n")
    assert served.desk.done == [command]


def test_why_it_rang_can_be_asked(served: Served, run: Swimup) -> None:
    """The decisions about an alarm are told one a line, with whether a person was told."""
    decided = [
        {"time": "2026-03-02T01:00:00Z", "notify": False, "reason": "waits for its on-delay of 60 s"},
        {"time": "2026-03-02T01:01:00Z", "notify": True, "reason": "held for 60 s"},
    ]
    served.desk.publish(lambda bench: bench.update(decisions={"too-hot:ash": decided}))
    assert run(served.server.port, "alarm", "why", "too-hot:ash").output.splitlines() == [
        "2026-03-02T01:00:00Z  not told: waits for its on-delay of 60 s",
        "2026-03-02T01:01:00Z  told: held for 60 s",
    ]
    assert run(served.server.port, "alarm", "why", "too-hot:birch").output == "Nothing was decided.\n"


def test_the_burden_report_is_a_text_that_can_be_read_over_a_shoulder(served: Served, run: Swimup) -> None:
    """Targets with their verdicts in words, days, rules, floods, and what to do; as many days as were asked for."""
    told = run(served.server.port, "alarm", "report", "--days", "14").output
    assert "9 alarms, 9 pushes, by phone, the busiest channel." in told
    assert re.search(r"^Ten minutes +at most 3 pushes, then one digest +4 at most +NOT KEPT$", told, re.MULTILINE)
    assert re.search(r"^A calm week .* kept$", told, re.MULTILINE)
    assert re.search(r"^2026-02-25 +4 +4 +0 +0  ####$", told, re.MULTILINE)
    assert re.search(r"^cold-snap +4 +44 % +4 ", told, re.MULTILINE)
    assert "Flood: 4 pushes, Wed 02:10 to 02:13: probe-silent:ash-water" in told
    assert "cold-snap:ash rang 4 times, 4 times within 60 min.\n  Raise its deadband or lower cold_below" in told
    assert served.desk.asked_days == [14]
    assert json.loads(run(served.server.port, "alarm", "report", "--json").output)["days_asked"] == 30
    assert run(served.server.port, "alarm", "report", "--days", "31").exit_code == 2


@pytest.mark.parametrize("length", ["30", "soon", "2 L"])
def test_a_shelf_needs_a_length_of_time(served: Served, run: Swimup, length: str) -> None:
    """What is no length of time with its unit is refused with what would be one, and nothing is sent."""
    result = run(served.server.port, "alarm", "shelve", "too-hot:ash", "--for", length)
    assert result.exit_code == 2
    assert "15 min" in result.output
    assert served.desk.done == []


def test_programs_get_json(served: Served, run: Swimup) -> None:
    """With --json every command prints one document."""
    assert json.loads(run(served.server.port, "status", "--json").output) == bad_night()
    assert json.loads(run(served.server.port, "alarm", "list", "--json").output) == {"alarms": bad_night()["alarms"]}
    told = json.loads(run(served.server.port, "batch", "harvest", "birch", "--json").output)
    assert told == {"batch": "birch-2026-03-01"}


def test_status_says_the_gravest_first_and_tells_ages(served: Served, run: Swimup) -> None:
    """The bench in a few lines of text says what the page says."""
    result = run(served.server.port, "status")
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert lines[0] == "shed, 02:10: Act now: 2 alarms. Next: ash, about today 06:45."
    assert "- Harvest birch. Ready since today 00:35." in lines
    assert lines[1] == "! Air stopped in birch, since today 02:04"
    assert "  Ready about today 06:45 (8 chances in 10: today 05:15 to 09:05)" in lines
    assert "  water 19.3 °C (25 min old), air not known" in lines
    assert lines.index("ash: hatching") < lines.index("birch: ready to harvest") < lines.index("cedar: empty")


def test_the_list_of_alarms_names_what_can_be_acknowledged(served: Served, run: Swimup) -> None:
    """The name to acknowledge stands beside its alarm."""
    output = run(served.server.port, "alarm", "list").output
    assert output.startswith("Act now: Air stopped in birch\n  air-stopped:birch, since today 02:04\n")
    served.desk.publish(lambda bench: bench["alarms"].clear())
    assert run(served.server.port, "alarm", "list").output == "No alarm stands.\n"


def test_what_a_terminal_would_obey_is_not_printed(served: Served, run: Swimup) -> None:
    """A name with escape codes changes no terminal."""
    served.desk.publish(lambda bench: bench["alarms"][0].update(title="\x1b]0;owned\x07\x1b[31m"))
    for words in (["status"], ["alarm", "list"]):
        output = run(served.server.port, *words).output
        assert "owned" in output
        assert "\x1b" not in output
        assert "\x07" not in output


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (["batch", "start", "ash", "--cysts", "2 g"], 1, "Harvest or discard it first"),
        (["batch", "start", "oak", "--cysts", "2 g"], 1, "there are: ash, birch, cedar"),
        (["batch", "harvest", "cedar"], 1, "no open batch in cedar"),
        (["batch", "harvest", "oak-2026-01-01"], 1, "no open batch"),
        (["alarm", "ack", "no-such:thing"], 1, "no alarm"),
        (["batch", "start", "cedar", "--cysts", "2 tsp"], 2, "weigh it"),
        (["batch", "start", "cedar", "--cysts", "2 kg"], 2, "up to 1000 g"),
        (["batch", "start", "cedar"], 2, "--cysts"),
        (["batch", "seen", "ash", "lots"], 2, "'none', 'first', 'some', 'most'"),
        (["batch", "seen", "ash", "some", "--fraction", "140 %"], 2, "60 %"),
        (["batch", "harvest", "ash", "--nauplii", "many"], 2, "whole number"),
        (["batch", "harvest", "ash", "--time", "soon"], 2, "06:40"),
        (["batch", "harvest", "ash", "--time", "2026-03-02T01:00:00"], 2, "zone"),
        (["nonsense"], 2, "No such command"),
    ],
)
def test_refusals_and_slips_end_with_their_exit_code_and_change_nothing(
    served: Served, run: Swimup, words: list[str], code: int, told: str
) -> None:
    """1 is the bench saying no, 2 is the call; both say what would be allowed."""
    result = run(served.server.port, *words)
    assert result.exit_code == code
    assert told in result.output
    assert served.desk.bench() == bad_night()


def test_without_a_daemon_it_says_how_to_start_one(serve: Callable[..., Served], run: Swimup) -> None:
    """Exit code 1 and what to do, before the first run and after a stop."""
    result = run(1, "status")
    assert result.exit_code == 1
    assert "swimup run" in result.output
    served = serve()
    port = served.server.port
    assert served.server.stop(10)
    result = run(port, "status")
    assert result.exit_code == 1
    assert f"No daemon answers at http://127.0.0.1:{port}" in result.output
    assert "swimup run" in result.output


def test_a_daemon_of_another_configuration_is_told_apart(served: Served, run: Swimup) -> None:
    """A token that does not fit is not a riddle."""
    served.options.token_file.write_text("x" * 43)
    result = run(served.server.port, "status")
    assert result.exit_code == 1
    assert "this configuration's daemon" in result.output


def test_a_configuration_with_a_fault_ends_with_two(run: Swimup) -> None:
    """The command line reads the configuration as the daemon does."""
    result = run(8417, "status", more='colour = "blue"')
    assert result.exit_code == 2
    assert "/web/colour" in result.output


def test_over_tls_exactly_the_configured_certificate_is_trusted(
    serve: Callable[..., Served], run: Swimup, tmp_path: Path
) -> None:
    """The command line needs no authority installed, and is not fooled by another certificate."""
    authority = make_authority(utc_now(), "shed")
    for name in ("page", "other"):
        pair = make_server(utc_now(), authority, ["shed.home.arpa"])
        (tmp_path / f"{name}.pem").write_bytes(pair.certificate_pem)
        (tmp_path / f"{name}.key").write_bytes(pair.key_pem)
    write_password(tmp_path / "page.password", "brine shrimp at dawn")
    served = serve(
        MemoryDesk(),
        cert_file=tmp_path / "page.pem",
        key_file=tmp_path / "page.key",
        password_hash_file=tmp_path / "page.password",
    )

    def more(name: str) -> str:
        return (
            f'password_file = "{tmp_path}/page.password"\n'
            f'cert_file = "{tmp_path}/{name}.pem"\nkey_file = "{tmp_path}/{name}.key"'
        )

    assert json.loads(run(served.server.port, "status", "--json", more=more("page")).output)["site"] == "shed"
    result = run(served.server.port, "status", more=more("other"))
    assert result.exit_code == 1
    assert "CERTIFICATE_VERIFY_FAILED" in result.output


def test_password_writes_a_hash_where_the_configuration_says(run: Swimup, tmp_path: Path) -> None:
    """The password itself is kept nowhere and printed nowhere."""
    path = tmp_path / "page.password"
    result = run(8417, "password", more=f'password_file = "{path}"', stdin="brine shrimp at dawn\n" * 2)
    assert result.exit_code == 0
    assert "dawn" not in result.output
    assert path.read_text().startswith("$argon2id$")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    result = run(8417, "password", "--stdin", more=f'password_file = "{path}"', stdin="short\n")
    assert (result.exit_code, "at least 10" in result.output) == (2, True)
    result = run(8417, "password", "--stdin", stdin="brine shrimp at dawn\n")
    assert (result.exit_code, "password_file" in result.output) == (2, True)


def test_the_viewers_password_is_another_than_the_keepers(run: Swimup, tmp_path: Path) -> None:
    """Who may only look must not get in as the keeper by the same word."""
    keeper, viewer = tmp_path / "page.password", tmp_path / "viewer.password"
    more = f'password_file = "{keeper}"\nviewer_password_file = "{viewer}"'
    assert run(8417, "password", "--stdin", more=more, stdin="brine shrimp at dawn\n").exit_code == 0
    same = run(8417, "password", "--viewer", "--stdin", more=more, stdin="brine shrimp at dawn\n")
    assert (same.exit_code, "passwords of their own" in same.output) == (2, True)
    assert not viewer.exists()
    assert run(8417, "password", "--viewer", "--stdin", more=more, stdin="guests look in here\n").exit_code == 0
    assert "counts from now on" in run(8417, "password", "--stdin", more=more, stdin="brine shrimp at dusk\n").output
    missing = run(8417, "password", "--viewer", "--stdin", stdin="guests look in here\n")
    assert (missing.exit_code, "viewer_password_file" in missing.output) == (2, True)


def test_a_token_is_made_shown_once_listed_used_and_revoked(serve: Callable[..., Served], run: Swimup) -> None:
    """A program gets what it needs and no more, for as long as the keeper wants; the daemon need not be restarted."""
    served = serve(MemoryDesk())
    port = served.server.port
    made = run(port, "token", "add", "wall-button", "--scope", "alarm", "--json")
    told = json.loads(made.output)
    assert (told["name"], told["scopes"]) == ("wall-button", ["alarm"])
    headers = {"Authorization": f"Bearer {told['token']}"}
    listed = run(port, "token", "list").output
    assert listed.startswith("wall-button: alarm; made 20")
    assert told["token"] not in listed
    with served.client(token=False) as client:
        done = client.post("/api/v1/alarms/air-stopped:birch/acknowledge", json={}, headers=headers)
        assert done.status_code == 200
        assert client.post("/api/v1/vessels/birch/settling", json={}, headers=headers).status_code == 403
        assert run(port, "token", "revoke", "wall-button").output == "wall-button opens nothing any more.\n"
        assert client.get("/api/v1/bench", headers=headers).status_code == 401
    assert "None." in run(port, "token", "list").output
    for words in (["revoke", "wall-button"], ["add", "Wall Button"], ["add", "x", "--scope", "all"]):
        assert run(port, "token", *words).exit_code == 2


def test_cert_makes_a_chain_that_a_client_accepts_and_keeps_its_authority(run: Swimup, tmp_path: Path) -> None:
    """Phones that were told once go on trusting after the certificate is renewed."""
    folder = tmp_path / "tls"
    result = run(8417, "cert", "shed.home.arpa", "192.168.1.20", "--dir", str(folder))
    assert result.exit_code == 0
    assert "Android" in result.output
    assert "iOS" in result.output
    authority = read_pair((folder / "ca.pem").read_bytes(), (folder / "ca.key").read_bytes())
    assert authority.fingerprint in result.output
    for name, mode in {"ca.key": 0o600, "page.key": 0o600, "ca.pem": 0o644, "page.pem": 0o644}.items():
        assert stat.S_IMODE((folder / name).stat().st_mode) == mode
    first = x509.load_pem_x509_certificate((folder / "page.pem").read_bytes())
    names = first.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.DNSName) == ["shed.home.arpa", "localhost"]
    assert [str(address) for address in names.get_values_for_type(x509.IPAddress)] == [
        "192.168.1.20",
        "127.0.0.1",
        "::1",
    ]
    assert timedelta(days=800) < first.not_valid_after_utc - utc_now() < timedelta(days=825)
    first.verify_directly_issued_by(authority.certificate)
    ssl.create_default_context(cafile=folder / "ca.pem").load_cert_chain(folder / "page.pem", folder / "page.key")

    again = run(8417, "cert", "shed.home.arpa", "--dir", str(folder))
    assert again.exit_code == 0
    assert authority.fingerprint in again.output
    second = x509.load_pem_x509_certificate((folder / "page.pem").read_bytes())
    assert second.serial_number != first.serial_number
    second.verify_directly_issued_by(authority.certificate)


def test_cert_replaces_its_authority_only_when_told(run: Swimup, tmp_path: Path) -> None:
    """An authority that phones trust is never lost by a second call, and half a one is not papered over."""
    folder = tmp_path / "tls"
    run(8417, "cert", "shed.home.arpa", "--dir", str(folder))
    before = (folder / "ca.pem").read_bytes()
    (folder / "ca.key").unlink()
    result = run(8417, "cert", "shed.home.arpa", "--dir", str(folder))
    assert (result.exit_code, "--renew" in result.output) == (2, True)
    (folder / "ca.key").write_text("rubbish")
    result = run(8417, "cert", "shed.home.arpa", "--dir", str(folder))
    assert (result.exit_code, "--renew" in result.output) == (2, True)
    assert (folder / "ca.pem").read_bytes() == before
    result = run(8417, "cert", "shed.home.arpa", "--dir", str(folder), "--renew")
    assert result.exit_code == 0
    assert (folder / "ca.pem").read_bytes() != before


@pytest.mark.parametrize("name", ["https://shed", "shed home", "-x.example", "a" * 64, "shed..arpa", ""])
def test_cert_refuses_what_is_no_name(run: Swimup, tmp_path: Path, name: str) -> None:
    """A certificate for a name no browser asks for is not made."""
    result = run(8417, "cert", "--dir", str(tmp_path / "tls"), "--", name)
    assert result.exit_code == 2
    assert not (tmp_path / "tls").exists()


def test_everything_is_listed_and_explained(run: Swimup) -> None:
    """Each command in the list can be loaded and has a help text."""
    from monitor.cli import COMMANDS

    top = run(8417, "--help").output
    for name in COMMANDS:
        assert f"  {name} " in top
        told = run(8417, name, "--help")
        assert told.exit_code == 0, name
