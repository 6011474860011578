"""Requests that mean harm, over the real server. After each the service answers as before, and nothing was done."""

from __future__ import annotations

import gzip
import re
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Any, Final

import pytest

from monitor.web.access import write_password
from monitor.web.operations import OPERATIONS
from tests.adapters.web.attacks import answers, headers_hold, raw, request, standing, status, unharmed
from tests.adapters.web.memory_desk import MemoryDesk
from tests.adapters.web.shed_record import fill, shed_desk
from tests.adapters.web.test_login import PASSWORD, form_token, log_in

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from tests.adapters.web.conftest import Served

PART: Final = b"--x\r\nContent-Disposition: form-data; %s\r\n\r\n1\r\n"
ACKNOWLEDGE: Final = "/api/v1/alarms/air-stopped:birch/acknowledge"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One service for all attacks that need no password: it must stand them one after the other."""
    with standing(tmp_path_factory.mktemp("open")) as found:
        yield found


@pytest.fixture(scope="module")
def locked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One with a password."""
    path = tmp_path_factory.mktemp("locked") / "page.password"
    write_password(path, PASSWORD)
    with standing(path.parent, password_hash_file=path) as found:
        yield found


# --- another site acts in the keeper's name


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"X-CSRF-Token": ""},
        {"X-CSRF-Token": "x" * 32},
        {"Content-Type": "text/plain"},
        {"Content-Type": "application/x-www-form-urlencoded"},
        {"Content-Type": "application/json", "Origin": "https://evil.example"},
        {"Content-Type": "application/json", "Origin": "null"},
        {"Content-Type": "application/json", "Sec-Fetch-Site": "cross-site"},
        {"Content-Type": "application/json", "Sec-Fetch-Site": "same-site"},
    ],
)
def test_another_site_cannot_act_over_the_api(locked: Served, headers: dict[str, str]) -> None:
    """A logged-in browser that is made to send JSON, under whatever name, does nothing."""
    with locked.client(token=False) as client:
        log_in(client)
        assert client.post(ACKNOWLEDGE, content=b"{}", headers=headers).status_code == 403
    unharmed(locked)


def test_a_form_token_of_another_session_or_of_before_the_log_in_is_worth_nothing(locked: Served) -> None:
    """A token fits the one session that it was made for, and none that was planted."""
    with locked.client(token=False) as attacker, locked.client(token=False) as keeper:
        foreign = form_token(attacker, "/login")
        before = form_token(keeper, "/login")
        planted = dict(keeper.cookies)
        log_in(keeper)
        for token in (foreign, before):
            assert keeper.post("/vessels/birch/settling", data={"csrf": token}).status_code == 403
    with locked.client(token=False, cookies=planted) as fixed:
        assert fixed.get("/").headers["location"] == "/login"
    unharmed(locked)


def test_no_answer_lets_another_site_read_it(locked: Served) -> None:
    """There is no leave for other origins, asked for beforehand or not."""
    ask = {"Origin": "https://evil.example", "Access-Control-Request-Method": "POST"}
    with locked.client() as client:
        for path in ("/api/v1/bench", ACKNOWLEDGE, "/events", "/metrics", "/"):
            answer = client.options(path, headers=ask)
            assert answer.status_code in (403, 405), path
            headers_hold(answer)
        headers_hold(client.get("/api/v1/bench", headers={"Origin": "https://evil.example"}))
    unharmed(locked)


@pytest.mark.parametrize("way", ["cookie", "query", "form", "basic"])
def test_a_token_counts_in_its_header_only(locked: Served, way: str) -> None:
    """What could stand in a log or a link opens nothing."""
    token = locked.token
    ways: dict[str, dict[str, Any]] = {
        "cookie": {},
        "query": {"params": {"token": token, "access_token": token}},
        "form": {"data": {"access_token": token}},
        "basic": {"auth": ("swimup", token)},
    }
    ask = ways[way]
    with locked.client(token=False, cookies={"token": token} if way == "cookie" else None) as client:
        assert client.request("POST" if way == "form" else "GET", "/api/v1/bench", **ask).status_code in (401, 405)
    unharmed(locked)


@pytest.mark.parametrize("token", ["", "0" * 64, "a", "x" * 5000, "\xe9" * 64])
def test_a_calendar_address_that_is_guessed_or_borrowed_opens_nothing(locked: Served, token: str) -> None:
    """Only the one that was given shows the calendar, and it opens nothing else: not the API, not a page, and it does nothing."""
    with locked.client() as keeper:
        own = keeper.get("/api/v1/calendar").json()["path"].partition("token=")[2]
    with locked.client(token=False) as client:
        for offered in (token, own[:-1], own.upper(), locked.token):
            answer = client.get("/calendar.ics", params={"token": offered})
            assert answer.status_code == 404
            assert "VEVENT" not in answer.text
        assert client.get("/calendar.ics", params={"token": own}).status_code == 200
        assert client.post("/calendar.ics", params={"token": own}).status_code in (403, 405)
        for path in ("/api/v1/food", "/api/v1/bench", "/api/v1/calendar"):
            assert client.get(path, params={"token": own}).status_code == 401
            assert client.get(path, headers={"Authorization": f"Bearer {own}"}).status_code == 401
        assert (
            client.post("/api/v1/calendar/renew", json={}, headers={"Authorization": f"Bearer {own}"}).status_code
            == 401
        )
    unharmed(locked)


# --- who is called, and where an answer leads


@pytest.mark.parametrize(
    "host",
    ["evil.example", "127.0.0.1.evil.example", "evil.example:8417", "localhost@evil.example", "[::1].evil", "", "\xe9"],
)
def test_a_name_that_was_bound_to_this_machine_elsewhere_is_refused(served: Served, host: str) -> None:
    """A page of another site cannot make a browser read the bench by a name of its own."""
    for more in ((), ("X-Forwarded-Host: localhost",), ("Forwarded: host=localhost",)):
        told = request(served, "GET /api/v1/bench HTTP/1.1", f"Host: {host}", *more, host=False)
        assert status(told) in (400, 421)
        assert b"birch" not in told
    absolute = request(served, "GET http://localhost/api/v1/bench HTTP/1.1", f"Host: {host}", host=False)
    assert b"birch" not in absolute
    unharmed(served)


def test_a_forwarded_address_counts_only_from_a_configured_proxy(serve: Callable[..., Served], tmp_path: Path) -> None:
    """Nobody gets new tries at the password by naming another address for each."""
    path = tmp_path / "page.password"
    write_password(path, PASSWORD)
    locked = serve(password_hash_file=path)
    with locked.client(token=False) as client:
        codes = []
        for number in range(6):
            headers = {"X-Forwarded-For": f"192.0.2.{number}", "Forwarded": f"for=192.0.2.{number}"}
            data = {"password": "wrong", "csrf": form_token(client, "/login")}
            codes.append(client.post("/login", data=data, headers=headers).status_code)
        assert codes == [401] * 5 + [429]
    unharmed(locked)


def test_behind_a_configured_proxy_each_caller_has_tries_of_its_own(
    serve: Callable[..., Served], tmp_path: Path
) -> None:
    """What a proxy of the keeper's says of who calls is believed; the last address counts, not one that was sent along."""
    path = tmp_path / "page.password"
    write_password(path, PASSWORD)
    options = {"proxies": ("127.0.0.1",), "address": "https://localhost:8417"}
    served = serve(MemoryDesk(), password_hash_file=path, **options)
    with served.client(token=False) as client:
        first = client.get("/login")
        (name, value) = next(iter(first.cookies.items()))
        assert "secure" in first.headers["set-cookie"].lower()
        assert name.startswith("__Host-")
        token = re.findall(r'name="csrf" value="([^"]+)"', first.text)[0]
    codes = {}
    with served.client(token=False) as client:
        for number in range(7):
            caller = "192.0.2.1" if number < 6 else "192.0.2.2"
            headers = {"X-Forwarded-For": f"198.51.100.{number}, {caller}", "Cookie": f"{name}={value}"}
            answer = client.post("/login", data={"password": "wrong", "csrf": token}, headers=headers)
            codes[number] = answer.status_code
    assert codes == {0: 401, 1: 401, 2: 401, 3: 401, 4: 401, 5: 429, 6: 401}
    unharmed(served)


@pytest.mark.parametrize(
    "path",
    [
        "//evil.example/",
        "//evil.example/login/",
        "///evil.example/%2e%2e/trends/",
        "/\\evil.example/",
        "/login?next=https://evil.example",
        "/login/",
        "/trends/",
        "/batches/https://evil.example/",
        "/%2f%2fevil.example/",
        "/.evil.example",
    ],
)
def test_nothing_leads_to_another_site(locked: Served, path: str) -> None:
    """A link to the bench ends at the bench."""
    told = request(locked, f"GET {path} HTTP/1.1")
    head = told.partition(b"\r\n\r\n")[0].decode("latin-1")
    for place in re.findall(r"(?im)^location: *(.*?)\r?$", head):
        assert re.fullmatch(rf"(http://127\.0\.0\.1:{locked.server.port})?/([^/\\].*)?", place), place
    unharmed(locked)


@pytest.mark.parametrize(
    "name", ["x%0d%0aSet-Cookie:%20hurt=1", "x%0aLocation:%20/evil", "x%E5%98%8A%E5%98%8Dhurt:1", "%0d%0a"]
)
def test_no_name_becomes_a_header(served: Served, name: str) -> None:
    """Line ends in a name stay in the name, in redirects and in downloads."""
    with served.client(token=False) as client:
        data = {"csrf": form_token(client), "page": "alarm"}
        for path in (f"/alarms/{name}/acknowledge", f"/batches/{name}/seen", f"/phones/{name}/remove"):
            answer = client.post(path, data=data)
            assert answer.status_code != 500
            assert "hurt" not in answer.cookies
            assert "evil" not in answer.headers.get("location", "").replace("%2Fevil", "")
        for path in (f"/trends/download.csv?since={name}", f"/trends?probe={name}", f"/vessels/{name}/start"):
            answer = client.get(path)
            assert answer.status_code != 500
            assert "hurt" not in str(answer.headers)
    told = request(served, f"GET /{name} HTTP/1.1", "X: y\rSet-Cookie: hurt=1")
    assert b"hurt" not in told.partition(b"\r\n\r\n")[0]
    served.desk.done.clear()
    unharmed(served)


# --- files and the record


@pytest.mark.parametrize(
    "path",
    [
        "/static/../../../../../../etc/passwd",
        "/static/..%2f..%2f..%2f..%2f..%2fetc%2fpasswd",
        "/static/%2e%2e/%2e%2e/app.py",
        "/static/..\\..\\app.py",
        "/static/%252e%252e%252fapp.py",
        "/static//etc/passwd",
        "/static/bench.css%00.js",
        "/static/",
        "/batches/..%2f..%2f..%2fetc%2fpasswd",
        "/api/v1/batches/../../../../etc/passwd",
        "/api/v1/probes/..%2f..%2fetc%2fpasswd/trend",
        "/trends/../../etc/passwd",
        "/cli.token",
        "/api/v1/%2e%2e/%2e%2e/cli.token",
        "file:///etc/passwd",
    ],
)
def test_no_path_reaches_a_file(served: Served, path: str) -> None:
    """Files are served from a list of names; an address never becomes a path."""
    told = request(served, f"GET {path} HTTP/1.1")
    assert status(told) in (200, 303, 400, 404, 503)
    body = told.partition(b"\r\n\r\n")[2]
    assert b"root:" not in body
    assert b"import annotations" not in body
    assert served.token.encode() not in told
    unharmed(served)


SQL: Final = (
    "' OR '1'='1",
    "'; DROP TABLE reading; --",
    '" OR 1=1 --',
    "1 UNION SELECT token FROM secret",
    "%",
    "ash-water' AND randomblob(100000000) --",
    "ash-water\x00",
    "1e400",
    "-1",
)


def test_no_filter_reaches_the_store_as_words(serve: Callable[..., Served], tmp_path: Path) -> None:
    """Whatever stands in a parameter or a name of a path is a value; the store holds afterwards what it held before."""
    path = tmp_path / "shed.sqlite3"
    fill(path, days=1)
    served = serve(shed_desk(path))
    before = _content(path)
    tried = 0
    with served.client() as client:
        honest = len(client.get("/api/v1/readings?limit=2000").json()["items"])
        for one in OPERATIONS:
            if one.method != "get" or one.name == "events":
                continue
            place = ("" if one.outside else "/api/v1") + one.path
            for words in SQL:
                asked: list[tuple[str, dict[str, str]]] = [(place, {parameter.name: words}) for parameter in one.query]
                asked += [(re.sub(r"{\w+}", _quoted(words), place), {})] if "{" in place else []
                for address, query in asked:
                    answer = client.get(address.replace("{probe}", "ash-water"), params=query or None)
                    assert answer.status_code in (200, 404, 422), (address, query)
                    assert len(answer.json().get("items", ())) <= honest
                    tried += 1
        for words in SQL:
            for name in ("probe", "batch", "since", "until", "with", "days"):
                assert client.get("/trends", params={name: words}).status_code < 500
    assert tried > 100
    assert honest > 0
    assert _content(path) == before
    unharmed(served)


def _quoted(words: str) -> str:
    return "".join(f"%{byte:02x}" for byte in words.encode())


def _content(path: Path) -> dict[str, int]:
    with closing(sqlite3.connect(path)) as store:
        names = [name for (name,) in store.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {name: store.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in names}  # noqa: S608


# --- too much, too deep, too strange


@pytest.mark.parametrize("length", ["65537", "99999999999999999999", "9" * 5000, "-1", "0x10", "1_000", "+5", "\xb2"])
def test_a_length_that_is_too_much_or_no_number_is_refused_unread(served: Served, length: str) -> None:
    """What would not fit is not waited for."""
    told = request(served, f"POST {ACKNOWLEDGE} HTTP/1.1", f"Content-Length: {length}")
    assert status(told) in (400, 413)
    unharmed(served)


def test_a_body_without_end_is_ended(served: Served) -> None:
    """One that comes in pieces is counted, and cut at the limit."""
    head = (
        f"POST {ACKNOWLEDGE} HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Bearer {served.token}\r\n"
        "Content-Type: application/json\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\n"
    )
    told = raw(served, head.encode(), *[b"4000\r\n" + b" " * 0x4000 + b"\r\n"] * 6)
    assert status(told) == 413
    unharmed(served)


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("application/x-www-form-urlencoded", b"&".join(b"f%d=1" % n for n in range(5000))),
        ("application/x-www-form-urlencoded", b"a" * 60_000 + b"=" + b"b"),
        ("multipart/form-data; boundary=x", PART % b"name=f" * 900 + b"--x--\r\n"),
        ("multipart/form-data; boundary=x", PART % b'name="f"; filename="../../x"' + b"--x--\r\n"),
        ("multipart/form-data; boundary=x", PART.replace(b"1", b"y" * 20_000) % b"name=a" + b"--x--\r\n"),
        ("multipart/form-data", b"--x"),
        ("multipart/form-data; boundary=x", b"\r\n" * 30_000),
        ("text/plain", b"csrf=x"),
        ("application/x-www-form-urlencoded; charset=utf-7", b"+ADw-script+AD4-=1"),
        ("application/x-www-form-urlencoded", b"password=%ED%A0%80%00%FF"),
    ],
)  # fmt: skip
def test_a_form_that_is_no_form_is_refused(served: Served, kind: str, body: bytes) -> None:
    """Thousands of fields, files, broken parts: an answer at once, and nothing is kept."""
    with served.client(token=False) as client:
        form_token(client)
        for path in ("/vessels/cedar/start", "/login", "/undo"):
            answer = client.post(path, content=body, headers={"Content-Type": kind})
            assert 400 <= answer.status_code < 500, path
    unharmed(served)


@pytest.mark.parametrize(
    "body",
    [
        b"[" * 60_000,
        b'{"a":' * 10_000,
        b'{"by": ' + b"9" * 5000 + b"}",
        b'{"by": 1e999999}',
        b'{"minutes": NaN}',
        b'{"by": "\xff\xfe"}',
        b'{"by": "\\ud800"}',
        b'{"__proto__": {"admin": true}, "constructor": 1}',
        b"\x00",
        gzip.compress(b" " * 10_000_000),
    ],
)
def test_json_that_is_none_or_too_deep_is_refused(served: Served, body: bytes) -> None:
    """Nested without end, numbers without end, bombs: a problem document, and no more memory than the body had."""
    with served.client() as client:
        for path in ("/api/v1/batches", "/api/v1/undo", "/api/v1/count"):
            answer = client.post(path, content=body, headers={"Content-Encoding": "gzip"})
            assert answer.status_code in (400, 422), path
            assert answer.headers["content-type"] == "application/problem+json"
    unharmed(served)


@pytest.mark.parametrize(
    "header",
    ["X: " + "y" * 70_000, "Cookie: " + "a=b; " * 3_500, "Range: bytes=" + "0-1," * 2_000, "Accept-Encoding: " + "gzip," * 2_500],
)  # fmt: skip
def test_headers_without_end_cost_nothing(served: Served, header: str) -> None:
    """A head that is too long is refused; one that just fits gets one ordinary answer."""
    told = request(served, "GET /api/v1/health HTTP/1.1", header)
    assert status(told) in (200, 400)
    assert len(told) < 2_000
    unharmed(served)


@pytest.mark.parametrize(
    "path",
    [
        "/%00",
        "/batches/%00",
        "/batches/%ff%fe",
        "/alarms/%ED%A0%80",
        "/vessels/%F0%9F%92%A9/start",
        "/" + "a" * 9_000,
        "/batches/" + "%e2%80%ae" * 50,
        "/?%00=%00",
        "/trends?since=%ff",
        "*",
        "/\xff",
    ],
)
def test_a_strange_address_is_just_not_there(served: Served, path: str) -> None:
    """Zeros, broken text, overlong names: a page that says so, never a fault."""
    told = request(served, f"GET {path} HTTP/1.1")
    assert status(told) in (200, 400, 404, 422, 503)
    assert b"Traceback" not in told
    unharmed(served)


# --- the wire

HIDDEN: Final = b"GET /api/v1/bench HTTP/1.1\r\nHost: localhost\r\n\r\n"


@pytest.mark.parametrize("method", ["TRACE", "CONNECT", "PUT", "PATCH", "DELETE", "PROPFIND", "get", "X" * 200])
def test_a_method_that_nobody_asked_for_does_nothing(served: Served, method: str) -> None:
    """405 or less, and TRACE echoes nothing."""
    told = request(served, f"{method} / HTTP/1.1", "Cookie: hurt=1", f"Authorization: Bearer {served.token}")
    assert status(told) in (400, 403, 405)
    assert b"hurt" not in told
    assert served.token.encode() not in told
    unharmed(served)


def test_looking_never_acts_however_the_method_is_renamed(served: Served) -> None:
    """HEAD, and headers or fields that name another method, change nothing."""
    names = {"X-HTTP-Method-Override": "POST", "X-HTTP-Method": "POST", "X-Method-Override": "DELETE"}
    with served.client() as client:
        for path in (ACKNOWLEDGE, "/vessels/birch/settling", "/undo"):
            for method in ("GET", "HEAD"):
                assert client.request(method, path + "?_method=POST", headers=names).status_code in (404, 405), path
        assert client.get("/", headers=names).status_code == 200
        assert client.head("/").content == b""
    unharmed(served)


@pytest.mark.parametrize(
    ("headers", "body"),
    [
        (("Content-Length: 5", "Transfer-Encoding: chunked"), b"0\r\n\r\n" + HIDDEN),
        (("Content-Length: 3", "Content-Length: 60"), b"{}\n" + HIDDEN),
        (("Transfer-Encoding: chunked, identity",), b"0\r\n\r\n"),
        (("Transfer-Encoding : chunked",), b"0\r\n\r\n" + HIDDEN),
        (("Transfer-Encoding: xchunked",), b"0\r\n\r\n"),
        (("Transfer-Encoding: chunked",), b"0x5\r\nhello\r\n0\r\n\r\n"),
        (("Host: evil.example",), b""),
        (("X: a\n b",), b""),
    ],
)  # fmt: skip
def test_no_second_request_hides_in_the_first(served: Served, headers: tuple[str, ...], body: bytes) -> None:
    """Where it is not clear how long a request is, the connection ends with one refusal."""
    told = request(served, f"POST {ACKNOWLEDGE} HTTP/1.1", *headers, body=body)
    assert answers(told) == 1
    assert status(told) in (400, 403, 501)
    assert b"birch-water" not in told
    unharmed(served)


@pytest.mark.parametrize("kind", ["websocket", "h2c", "TLS/1.0"])
def test_no_other_protocol_is_spoken(served: Served, kind: str) -> None:
    """A socket that another site opens is an ordinary request, or refused."""
    socket = (
        "Sec-WebSocket-Version: 13",
        "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==",
        "Origin: https://evil.example",
    )
    told = request(served, "GET /events HTTP/1.1", f"Upgrade: {kind}", *socket, "Authorization: Bearer x")
    assert status(told) != 101
    assert b"birch" not in told
    unharmed(served)


def test_every_answer_is_guarded_errors_too(locked: Served) -> None:
    """No page can be framed, no answer be taken for a script; the cookie is for this service and no script."""
    with locked.client(token=False) as client:
        cookie = client.get("/login").headers["set-cookie"].lower()
        for method, path, ask in (
            ("GET", "/login", {}),
            ("GET", "/", {}),
            ("GET", "/nothing/here", {}),
            ("GET", "/static/nothing.js", {}),
            ("GET", "/api/v1/nothing", {}),
            ("POST", "/undo", {}),
            ("POST", "/login", {"content": b"x" * 70_000}),
            ("GET", "/", {"headers": {"Host": "evil.example"}}),
            ("DELETE", "/", {}),
        ):
            headers_hold(client.request(method, path, **ask))
    assert "httponly" in cookie
    assert "samesite=lax" in cookie
    assert "path=/" in cookie
    assert "domain" not in cookie
    unharmed(locked)


def test_a_desk_that_breaks_tells_nothing_of_itself(serve: Callable[..., Served]) -> None:
    """A fault of ours is one sentence, with no trace, no path and no setting in it."""

    class Broken(MemoryDesk):
        def bench(self) -> dict[str, Any]:
            raise KeyError("/home/keeper/secret-path")

    served = serve(Broken())
    for path in ("/", "/api/v1/bench", "/api/v1/health", "/count", "/phones.webmanifest"):
        told = request(served, f"GET {path} HTTP/1.1")
        assert status(told) == 500
        assert b"the service's log says more" in told
        assert b"secret-path" not in told
        assert b"Traceback" not in told
        assert b"frame-ancestors 'none'" in told
