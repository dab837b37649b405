"""Proves who is answered: own host, own page, with a door only who holds its cookie.

Host and Origin: RFC 9110, 7.2 and RFC 6454, 7. Does not prove what a browser sends; the tests in
one do.
"""

from __future__ import annotations

import asyncio

import pytest

from cli.lot.guard import COOKIE, Door, Guard

HOST = "127.0.0.1:8490"


def asked(guard, *, method="GET", path="/", **headers):
    """Status and headers of an answer."""
    sent = []

    async def receive():
        return {"type": "http.request", "body": b""}

    async def send(message):
        sent.append(message)

    given = {"host": HOST} | {name.replace("_", "-"): value for name, value in headers.items()}
    scope = {
        "type": "http",
        "method": method,
        "path": path,
        "headers": [(n.encode(), v.encode()) for n, v in given.items() if v is not None],
    }
    asyncio.run(guard(scope, receive, send))
    return sent[0]["status"], dict(sent[0]["headers"])


async def page(scope, receive, send):
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"page"})


@pytest.fixture
def guard():
    return Guard(app=page, hosts=frozenset({HOST, "localhost:8490"}))


@pytest.fixture
def door():
    return Door(renewed=lambda token: None)


@pytest.mark.parametrize(
    "changed",
    [
        {"host": "elsewhere.example"},
        {"host": "elsewhere.example:8490"},
        {"host": "127.0.0.1"},
        {"host": None},
        {"origin": "http://elsewhere.example"},
        {"origin": "https://127.0.0.1:8490"},
        {"origin": "http://localhost:8490"},
        {"method": "POST", "sec_fetch_site": "cross-site"},
        {"method": "POST", "sec_fetch_site": "same-site", "origin": "null"},
        {"method": "PUT"},
        {"method": "OPTIONS", "origin": "http://elsewhere.example"},
    ],
)
def test_what_comes_from_elsewhere_is_refused_in_one_line(guard, capsys, changed):
    status, headers = asked(guard, **changed)
    assert status == 403
    assert b"content-security-policy" in headers
    assert len(capsys.readouterr().out.splitlines()) == 1


@pytest.mark.parametrize(
    "changed",
    [
        {},
        {"host": "localhost:8490"},
        {"method": "POST", "origin": f"http://{HOST}", "sec_fetch_site": "same-origin"},
        {"method": "POST", "origin": "null", "sec_fetch_site": "same-origin"},
        {"method": "HEAD"},
    ],
)
def test_the_pages_own_requests_are_answered_under_a_strict_policy(guard, changed):
    status, headers = asked(guard, **changed)
    assert status == 200
    assert headers[b"referrer-policy"] == b"no-referrer"
    policy = headers[b"content-security-policy"].decode()
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy


def test_with_a_door_nothing_is_answered_without_its_cookie(guard, door):
    guard = Guard(app=page, hosts=guard.hosts, door=door)
    assert asked(guard)[0] == 403
    assert asked(guard, cookie=f"{COOKIE}=guess")[0] == 403
    assert asked(guard, path="/joined/x")[0] == 403
    session = door.exchanged(door.token)
    assert asked(guard, cookie=f"other=1; {COOKIE}={session}")[0] == 200
    # Joining is answered, but for the host that it is asked of.
    assert asked(guard, path="/join/anything")[0] == 200
    assert asked(guard, path="/join/anything", host="elsewhere.example")[0] == 403


def test_a_token_is_exchanged_once(capsys):
    renewed = []
    door = Door(renewed=renewed.append)
    first = door.token
    assert door.exchanged("guess") is None
    assert door.exchanged("gué\u0301ss") is None
    assert door.exchanged(first)
    assert door.exchanged(first) is None
    assert renewed == [door.token] != [first]
    assert first not in "".join(capsys.readouterr())
