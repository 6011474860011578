from __future__ import annotations

import re
import ssl
from typing import TYPE_CHECKING, Any

import httpx
import pytest
from playwright.sync_api import expect
from starlette.routing import Route

from monitor.cli.certificates import make_authority, make_server, utc_now
from monitor.web.access import write_password
from tests.adapters.web.memory_desk import MemoryDesk

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

PASSWORD = "brine shrimp at dawn"


@pytest.fixture
def locked(serve: Callable[..., Served], tmp_path: Path) -> Served:
    path = tmp_path / "page.password"
    write_password(path, PASSWORD)
    return serve(password_hash_file=path)


def form_token(client: httpx.Client, path: str = "/") -> str:
    found = re.search(r'name="csrf" (?:content|value)="([^"]+)"', client.get(path).text)
    assert found is not None
    return found[1]


def log_in(client: httpx.Client, password: str = PASSWORD) -> httpx.Response:
    return client.post("/login", data={"password": password, "csrf": form_token(client, "/login")})


@pytest.mark.browser
def test_the_bench_is_seen_after_log_in_and_no_longer_after_log_out(
    locked: Served, open_page: Callable[..., Page]
) -> None:
    """With a password set nobody sees the bench without it."""
    page = open_page(locked)
    expect(page).to_have_url(re.compile("/login$"))
    page.get_by_label("Password").fill("not the password")
    page.get_by_role("button", name="Log in").click()
    expect(page.get_by_role("alert")).to_have_text("That is not the password.")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    expect(page.locator(".headline")).to_have_text("Act now: 2 alarms")
    page.get_by_role("button", name="Acknowledge Air stopped").click()
    expect(page.locator(".flash")).to_have_text("Acknowledged.")
    page.get_by_role("button", name="Log out").click()
    page.goto(locked.url)
    expect(page).to_have_url(re.compile("/login$"))


OPEN = {
    "/login",
    "/offline",
    "/worker.js",
    "/manifest.webmanifest",
    "/static/ash",
    "/act/ash",
    "/calendar.ics",
    "/api/v1/health",
    "/api/v1/openapi.json",
}
"""What answers without a log-in: the way in, what a phone needs to open the page later, and links that are keys themselves."""


def test_without_log_in_nothing_is_told_or_done(serve: Callable[..., Served], tmp_path: Path) -> None:
    """Each address asks for the password or a token; those few that answer tell nothing of the bench."""
    path = tmp_path / "page.password"
    write_password(path, PASSWORD)
    locked = serve(password_hash_file=path, address="http://localhost:8417")
    there = set()
    with locked.client(token=False) as client:
        for route in _routes(locked):
            path_there = re.sub(r"{[\w:]+}", "ash", route.path)
            there.add(path_there)
            for method in route.methods or ():
                answer = client.request(method, path_there)
                if path_there not in OPEN:
                    assert answer.status_code in (303, 401, 403), (method, path_there)
                    assert answer.headers.get("location", "/login") == "/login"
                assert "birch" not in answer.text, (method, path_there)
                assert "24.1" not in answer.text, (method, path_there)
    assert there >= OPEN
    assert locked.desk.done == []


def test_every_form_asks_for_its_token(served: Served) -> None:
    """No page elsewhere can act in a keeper's name, whatever address it aims at."""
    tried = 0
    with served.client(token=False) as client:
        form_token(client)
        for route in _routes(served):
            if "POST" not in (route.methods or ()):
                continue
            path = re.sub(r"{[\w:]+}", "ash", route.path)
            for data in ({}, {"csrf": ""}, {"csrf": "x" * 32}):
                assert client.post(path, data=data).status_code == 403, path
                tried += 1
    assert tried > 30
    assert served.desk.done == []


def test_a_token_of_another_session_is_refused(served: Served) -> None:
    """A form works only with the cookie it was made for."""
    with served.client(token=False) as one, served.client(token=False) as other:
        token = form_token(one)
        form_token(other)
        assert other.post("/vessels/birch/settling", data={"csrf": token}).status_code == 403
        assert one.post("/vessels/birch/settling", data={"csrf": token}).status_code == 303
    assert len(served.desk.done) == 1


def test_the_sixth_wrong_password_waits_even_if_it_is_the_right_one(locked: Served) -> None:
    """Guessing is slow."""
    with locked.client(token=False) as client:
        for _ in range(5):
            assert log_in(client, "wrong password").status_code == 401
        answer = log_in(client)
        assert answer.status_code == 429
        assert 0 < int(answer.headers["retry-after"]) <= 300
        assert "Try again in" in answer.text
        assert client.get("/").status_code == 303


def test_the_session_cookie_is_guarded_and_changes_at_log_in(locked: Served) -> None:
    """A cookie planted before log-in is worth nothing after it, and a script can't read any."""
    with locked.client(token=False) as client:
        before = form_token(client, "/login")
        answer = log_in(client)
        cookie = answer.headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=lax" in cookie
        assert form_token(client) != before


def test_a_forged_cookie_is_no_log_in(locked: Served) -> None:
    """Only what this service has signed counts."""
    with locked.client(token=False) as client:
        log_in(client)
        (name, value) = next(iter(client.cookies.items()))
    # Not the last letters, in which some bits tell nothing.
    spoilt = value[:-3] + ("B" if value[-3] == "A" else "A") + value[-2:]
    for forged in (spoilt, "eyJpbiI6IHRydWV9", "eyJpbiI6IHRydWV9.aaaa.bbbb", "x" * 4000):
        with locked.client(token=False, cookies={name: forged}) as client:
            assert client.get("/").status_code == 303


def test_the_command_line_needs_no_password_but_its_token(locked: Served) -> None:
    """The token of the command line goes on working behind a password."""
    with locked.client() as client:
        assert client.get("/api/v1/bench").status_code == 200
    with locked.client(token=False) as client:
        answer = client.get("/api/v1/bench")
        assert answer.status_code == 401
        assert answer.headers["www-authenticate"] == "Bearer"
        assert client.get("/events").status_code == 401


def test_two_services_on_one_machine_keep_their_sessions_apart(serve: Callable[..., Served], tmp_path: Path) -> None:
    """Browsers share cookies between ports; each service has a cookie of its own name."""
    first = serve(MemoryDesk())
    with first.client(token=False) as client:
        form_token(client)
        (one,) = client.cookies
    (tmp_path / "state" / "session.key").unlink()
    second = serve(MemoryDesk())
    with second.client(token=False) as client:
        form_token(client)
        (other,) = client.cookies
    assert one != other


@pytest.fixture
def tls(serve: Callable[..., Served], tmp_path: Path) -> tuple[Served, ssl.SSLContext]:
    authority = make_authority(utc_now(), "shed")
    pair = make_server(utc_now(), authority, ["shed.home.arpa", "127.0.0.1"])
    certificate, key, password = tmp_path / "page.pem", tmp_path / "page.key", tmp_path / "page.password"
    certificate.write_bytes(pair.certificate_pem + authority.certificate_pem)
    key.write_bytes(pair.key_pem)
    write_password(password, PASSWORD)
    served = serve(cert_file=certificate, key_file=key, password_hash_file=password, hostnames=("shed.home.arpa",))
    return served, ssl.create_default_context(cadata=authority.certificate_pem.decode())


def test_under_tls_the_own_authority_is_trusted_and_the_cookie_is_secure(tls: tuple[Served, ssl.SSLContext]) -> None:
    """A phone that trusts the keeper's authority gets a page whose session never travels in the clear."""
    served, trust = tls
    assert served.url.startswith("https://")
    with served.client(token=False, verify=trust) as client:
        answer = log_in(client)
        assert answer.status_code == 303
        cookie = answer.headers["set-cookie"]
        assert cookie.startswith("__Host-")
        assert "; secure" in cookie.lower()
        assert client.get("/").status_code == 200
        assert client.get("/", headers={"Host": "shed.home.arpa:8417"}).status_code == 200
    with served.client(token=False) as client, pytest.raises(httpx.ConnectError):
        client.get("/")


def _routes(served: Served) -> list[Route]:
    found: list[Route] = []

    def collect(routes: Any, before: str) -> None:
        for route in routes:
            if isinstance(route, Route):
                found.append(Route(before + route.path, route.endpoint, methods=list(route.methods or ())))
            else:
                collect(route.routes, before + route.path)

    collect(served.app.routes, "")
    assert len(found) > 20
    return found
