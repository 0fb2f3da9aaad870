"""Who may ask the review page: requests as bytes over a socket, as any program could send them.

Checked against RFC 9110 (status codes), RFC 6454 (Origin), RFC 6265bis (SameSite), Fetch Metadata
Request Headers (W3C) and Content Security Policy Level 3 (W3C).
"""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator

import pytest

from rubbing2pattern.reviewing.guard import HEADERS, LARGEST_BODY_BYTES
from tests.reviewing.served import Visitor, results, visited


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    with visited(results(tmp_path_factory.mktemp("guarded") / "n4 3b")) as visitor:
        yield visitor


def status(answer: bytes) -> int:
    return int(answer.split(b" ", 2)[1])


def request(
    visitor: Visitor, line: str, body: str = "", host: str | None = None, **headers: str
) -> bytes:
    """Send a request with the cookie and what else is said; None leaves a header away."""
    given = {"host": host or visitor.host, "cookie": visitor.cookie}
    given |= {name.replace("_", "-"): value for name, value in headers.items()}
    if body:
        given.setdefault("content-length", str(len(body)))
    said = "".join(f"{name}: {value}\n" for name, value in given.items() if value)
    return visitor.raw(f"{line} HTTP/1.1\n{said}connection: close\n\n{body}")


def change(visitor: Visitor, **fields: object) -> str:
    now = visitor.desk.where()
    edit = {"kind": "remove_lead", "came": "C1", "border": True}
    told = {"digest": now.digest, "step": now.step, "edits": [edit], **fields}
    return json.dumps(told)


FORGED = {"x_review": "1", "content_type": "application/json"}


def test_it_listens_on_the_loopback_alone(visitor: Visitor) -> None:
    others = {address[4][0] for address in socket.getaddrinfo(socket.gethostname(), None)}
    for address in others - {"127.0.0.1", "::1", "127.0.1.1"}:
        family = socket.AF_INET6 if ":" in address else socket.AF_INET
        with socket.socket(family) as line:
            line.settimeout(2.0)
            assert line.connect_ex((address, visitor.port)) != 0
    assert status(request(visitor, "GET /session")) == 200


def test_the_token_opens_the_page_once(visitor: Visitor) -> None:
    cookie = visitor.opening.headers["set-cookie"]
    assert visitor.opening.status == 303 and visitor.opening.headers["location"] == "/"
    for part in ("HttpOnly", "SameSite=strict", "Path=/"):
        assert part in cookie
    again = visitor.ask("GET", "/" + visitor.page.address.split("/", 3)[3], cookie="")
    assert again.status == 403 and "set-cookie" not in again.headers
    assert visitor.ask("GET", "/?token=" + "0" * 64, cookie="").status == 403
    assert visitor.ask("GET", "/?token=&token=", cookie="").status == 403


@pytest.mark.parametrize("path", ["/", "/main.js", "/session", "/net", "/tiles/0/0_0", "/schema"])
def test_nothing_is_shown_without_the_cookie(visitor: Visitor, path: str) -> None:
    name = visitor.cookie.split("=")[0]
    for cookie in ("", f"{name}=", f"{name}={'0' * 64}", f"{visitor.cookie}; {name}=x"):
        assert visitor.ask("GET", path, cookie=cookie).status == 403
    assert visitor.ask("GET", path).status == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "localhost", "localhost:{port}", "127.0.0.1", "127.0.0.1:1", "[::1]"]
)
def test_another_host_is_refused(visitor: Visitor, host: str) -> None:
    """A name of an attacker that is bent to this machine (DNS rebinding) comes as `Host`."""
    said = host.replace("{port}", str(visitor.port))
    assert status(request(visitor, "GET /session", host=said)) == 421


def test_two_hosts_or_none_are_refused(visitor: Visitor) -> None:
    two = f"GET / HTTP/1.1\nhost: {visitor.host}\nhost: {visitor.host}\nconnection: close\n\n"
    assert status(visitor.raw(two)) in (400, 421)
    assert status(visitor.raw(f"GET / HTTP/1.0\ncookie: {visitor.cookie}\n\n")) in (400, 421)


@pytest.mark.parametrize(
    "origin", ["http|evil.example", "null", "https|{host}", "http|127.0.0.1", "http|{host}."]
)
def test_another_origin_is_refused(visitor: Visitor, origin: str) -> None:
    said = origin.replace("{host}", visitor.host).replace("|", "://")
    assert status(request(visitor, "GET /session", origin=said)) == 403
    body = change(visitor)
    assert status(request(visitor, "POST /preview", body, origin=said, **FORGED)) == 403


def test_what_a_browser_says_of_the_asking_site_counts(visitor: Visitor) -> None:
    for site in ("cross-site", "same-site"):
        assert status(request(visitor, "GET /session", sec_fetch_site=site)) == 403
    assert status(request(visitor, "GET /", sec_fetch_site="none")) == 200
    body = change(visitor)
    for site, code in (("none", 403), ("cross-site", 403), ("same-origin", 200)):
        answer = request(visitor, "POST /preview", body, sec_fetch_site=site, **FORGED)
        assert status(answer) == code


def test_a_change_needs_the_header_that_no_form_can_send(visitor: Visitor) -> None:
    body = change(visitor)
    assert status(request(visitor, "POST /preview", body, **FORGED)) == 200
    assert status(request(visitor, "POST /edits", body, content_type="application/json")) == 403
    for kind in ("text/plain", "application/x-www-form-urlencoded", ""):
        forged = {"x_review": "1", "content_type": kind}
        assert status(request(visitor, "POST /edits", body, **forged)) == 415
    assert visitor.desk.where().step == 0


@pytest.mark.parametrize("method", ["OPTIONS", "DELETE", "PATCH", "TRACE", "CONNECT"])
def test_other_methods_are_refused(visitor: Visitor, method: str) -> None:
    assert status(request(visitor, f"{method} /session")) in (400, 405)


def test_a_body_has_a_limit_whatever_its_length_is_said_to_be(visitor: Visitor) -> None:
    long = str(LARGEST_BODY_BYTES + 1)
    answer = request(visitor, "POST /preview", "{}", content_length=long, **FORGED)
    assert status(answer) == 413
    part = "5000\n" + "x" * 0x5000 + "\n"
    body = part * (LARGEST_BODY_BYTES // 0x5000 + 2) + "0\n\n"
    said = {"transfer_encoding": "chunked", "content_length": "", **FORGED}
    assert status(request(visitor, "POST /preview", body, **said)) == 413


def test_a_head_has_a_limit(visitor: Visitor) -> None:
    assert status(request(visitor, "GET /session", padding="x" * 40_000)) in (400, 431)


@pytest.mark.parametrize(
    "path",
    [
        "/../desk.py", "/..%2fdesk.py", "/%2e%2e/desk.py", "//etc/passwd", "/page/../main.js",
        "/main.js%00", "/jsconfig.json", "/tiles/0/..%2f..", "/tiles/0/0_0/x", "/tiles/-1/0_0",
        "/tiles/0/0_99999", "/tiles/99/0_0", "/tiles/0/%D9%A0_%D9%A0", "/panel.json",
        "/rubbing.png",
    ],
)  # fmt: skip
def test_no_path_of_a_request_reaches_a_file(visitor: Visitor, path: str) -> None:
    assert status(request(visitor, f"GET {path}".encode().decode("latin-1"))) in (400, 404)


@pytest.mark.parametrize("path", ["/", "/session", "/nothing", "/tiles/0/0_0"])
def test_every_answer_has_the_headers_of_safety(visitor: Visitor, path: str) -> None:
    for cookie in (None, ""):
        headers = visitor.ask("GET", path, cookie=cookie).headers
        assert {name: headers.get(name) for name in HEADERS} == HEADERS
        assert "server" not in headers and "access-control-allow-origin" not in headers
    policy = HEADERS["content-security-policy"]
    assert policy.startswith("default-src 'none'") and "unsafe" not in policy
    assert HEADERS["cache-control"] == "no-store"


def test_the_page_has_no_script_or_style_of_its_own_text(visitor: Visitor) -> None:
    text = visitor.ask("GET", "/").body.decode()
    assert text.count("<script") == text.count('<script type="module" src=') == 1
    assert "<style" not in text and "style=" not in text and "onclick" not in text


def test_nonsense_ends_nothing(visitor: Visitor) -> None:
    for body in ("", "{", "[]", "null", '{"digest": 1}', '{"edits": []}', "\x00" * 99, "[" * 9999):
        answer = request(visitor, "POST /edits", body or " ", **FORGED)
        assert status(answer) == 400
    assert status(request(visitor, "GET /session")) == 200
