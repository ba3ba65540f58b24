"""Nobody but the page itself is let through, whatever a request says of itself."""

import asyncio
from urllib.parse import urlsplit

import pytest
from starlette.responses import PlainTextResponse

from pipeline.desk.guard import HEADERS, Guard

PORT = 50123
HOST, ORIGIN = f"127.0.0.1:{PORT}", f"http://127.0.0.1:{PORT}"


@pytest.fixture
def guard() -> Guard:
    return Guard(PlainTextResponse("inside"), PORT)


def ask(guard: Guard, method: str = "GET", path: str = "/", *headers: tuple[str, str]):
    """Status, headers and text of an answer."""
    where, messages = urlsplit(path), []

    async def send(message):
        messages.append(message)

    async def receive():
        return {"type": "http.request", "body": b"", "more_body": False}

    scope = {
        "type": "http",
        "method": method,
        "path": where.path,
        "query_string": where.query.encode(),
        "headers": [(name.encode(), value.encode()) for name, value in headers],
    }
    asyncio.run(guard(scope, receive, send))
    told = {name.decode(): value.decode() for name, value in messages[0]["headers"]}
    return messages[0]["status"], told, messages[1]["body"].decode()


def enter(guard: Guard) -> tuple[str, str]:
    """The cookie that the first address gives."""
    _, told, _ = ask(guard, "GET", "/?" + urlsplit(guard.first).query, ("host", HOST))
    return "cookie", told["set-cookie"].partition(";")[0]


def test_the_first_address_gives_a_cookie_once(guard):
    first = "/?" + urlsplit(guard.first).query
    status, told, _ = ask(guard, "GET", first, ("host", HOST))
    assert (status, told["location"]) == (303, "/")
    assert {"HttpOnly", "SameSite=strict", "Path=/"} <= set(told["set-cookie"].split("; "))
    status, told, _ = ask(guard, "GET", first, ("host", HOST))
    assert status == 403
    assert "set-cookie" not in told


def test_the_cookie_is_not_the_token(guard):
    assert urlsplit(guard.first).query.partition("=")[2] not in enter(guard)[1]


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_the_page_is_let_through(guard, method):
    cookie = enter(guard)
    own = (("host", HOST), ("origin", ORIGIN), ("sec-fetch-site", "same-origin"), cookie)
    assert ask(guard, method, "/", *own)[2] == "inside"


@pytest.mark.parametrize("typed", [(), (("sec-fetch-site", "none"),)])
def test_an_address_that_was_typed_is_let_through(guard, typed):
    assert ask(guard, "GET", "/", ("host", HOST), enter(guard), *typed)[2] == "inside"


FOREIGN = {
    "no host": ("GET", ()),
    "another name for this machine": ("GET", (("host", f"localhost:{PORT}"),)),
    "a name that was led here": ("GET", (("host", f"evil.example:{PORT}"),)),
    "another port": ("GET", (("host", "127.0.0.1:80"),)),
    "two hosts": ("GET", (("host", HOST), ("host", "evil.example"))),
    "a foreign page reads": ("GET", (("host", HOST), ("origin", "http://evil.example"))),
    "a foreign page writes": ("POST", (("host", HOST), ("origin", "http://evil.example"))),
    "a page from a file": ("POST", (("host", HOST), ("origin", "null"))),
    "a program on another port": ("POST", (("host", HOST), ("origin", "http://127.0.0.1:8888"))),
    "two origins": ("POST", (("host", HOST), ("origin", ORIGIN), ("origin", "http://x.example"))),
    "nobody writes": ("POST", (("host", HOST),)),
    "another method": ("OPTIONS", (("host", HOST),)),
    "a frame": ("GET", (("host", HOST), ("sec-fetch-site", "cross-site"))),
    "a page on another port": ("GET", (("host", HOST), ("sec-fetch-site", "same-site"))),
}


@pytest.mark.parametrize("case", FOREIGN)
def test_others_are_refused_even_with_the_cookie(guard, case):
    method, headers = FOREIGN[case]
    status, _, text = ask(guard, method, "/", *headers, enter(guard))
    assert status == 403
    assert "inside" not in text


@pytest.mark.parametrize("cookie", ["", "desk_50123=", "desk_50123=x", "desk_50124={}", "{}x"])
def test_nothing_goes_without_the_cookie(guard, cookie):
    secret = enter(guard)[1].partition("=")[2]
    given = cookie.format(secret)
    status, _, _ = ask(guard, "GET", "/", ("host", HOST), ("cookie", given))
    assert status == 403


@pytest.mark.parametrize("token", ["", "x", "\u00e9", "a" * 10_000])
def test_a_wrong_token_gives_nothing_and_leaves_the_right_one(guard, token):
    status, told, _ = ask(guard, "GET", f"/?token={token}", ("host", HOST))
    assert status == 403
    assert "set-cookie" not in told
    assert enter(guard)[1]


def test_a_foreign_page_cannot_use_up_the_token(guard):
    first = "/?" + urlsplit(guard.first).query
    assert ask(guard, "GET", first, ("host", HOST), ("sec-fetch-site", "cross-site"))[0] == 403
    assert enter(guard)[1]


def test_every_answer_keeps_others_out(guard):
    cookie = enter(guard)
    for headers in ((("host", HOST), cookie), (("host", "evil.example"),)):
        _, told, _ = ask(guard, "GET", "/", *headers)
        assert {name: told[name.lower()] for name in HEADERS} == HEADERS
        assert told["cache-control"] == "no-store"
        assert "access-control-allow-origin" not in told
