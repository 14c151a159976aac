"""The session of a browser: a signed cookie that says who is there, and nothing else does."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from flask import Flask
from flask.sessions import SecureCookieSession
from flask.testing import FlaskClient
from itsdangerous import TimestampSigner, URLSafeTimedSerializer
from werkzeug.http import dump_cookie, parse_cookie

from msdtrack.config import load_settings
from msdtrack.store.connection import close_store
from msdtrack.web.app import create_app
from msdtrack.web.sessions import CookieSessions
from tests.web.conftest import NOW, ORIGIN
from tests.web.workshop import Workshop

NAME = "msdtrack"
KEPT = {"who": ["W0000019", NOW]}
KEPT_S = 31 * 24 * 3600
"""How long a signed cookie counts, whatever is in it: the default of Flask, in seconds."""


@pytest.fixture
def signed_at(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The moment at which cookies are signed and read, to be moved."""
    moment = [NOW]
    monkeypatch.setattr(TimestampSigner, "get_timestamp", lambda _self: moment[0])
    return moment


def signed(app: Flask, data: Any, **other: Any) -> str:
    """A cookie with this content, as the application signs it, or with another key or salt."""
    ours = CookieSessions().get_signing_serializer(app)
    assert ours is not None
    foreign = URLSafeTimedSerializer(
        other.get("key", app.secret_key),
        salt=other.get("salt", CookieSessions.salt),
        serializer=CookieSessions.serializer,
        signer_kwargs={"key_derivation": "hmac", "digest_method": CookieSessions.digest_method},
    )
    return str((foreign if other else ours).dumps(data))


def opened(app: Flask, cookie: str, name: str = NAME) -> dict[str, Any]:
    """What the session of a request with this cookie holds."""
    with app.test_request_context(headers={"Cookie": dump_cookie(name, cookie)}) as context:
        session = CookieSessions().open_session(app, context.request)
        assert isinstance(session, SecureCookieSession)
        return dict(session)


def at_work(app: Flask, cookie: str | None = None) -> FlaskClient:
    """A browser of its own, with this cookie from before."""
    client = app.test_client()
    client.environ_base["HTTP_ORIGIN"] = ORIGIN["Origin"]
    if cookie is not None:
        client.set_cookie(NAME, cookie)
    return client


def cookie_of(client: FlaskClient) -> str:
    """The cookie that a browser has."""
    found = client.get_cookie(NAME)
    assert found is not None
    return found.value


def test_who_is_there_is_kept_in_the_browser_that_said_it(site_app: Flask, shop: Workshop) -> None:
    """In its cookie: another browser knows nobody, one that has the cookie is the same."""
    mira = at_work(site_app)
    mira.post("/alarms/who", data={"badge": shop.people[0]})
    assert "You are <b>Mira</b>" in mira.get("/alarms").text
    assert "Scan your badge" in at_work(site_app).get("/alarms").text
    cookie = cookie_of(mira)
    assert opened(site_app, cookie) == {"who": [shop.people[0], NOW, NOW]}
    assert "You are <b>Mira</b>" in at_work(site_app, cookie).get("/alarms").text


def test_a_message_is_told_once(site_app: Flask, shop: Workshop) -> None:
    """What a form has to say travels in the cookie to the next page, and no further."""
    client = at_work(site_app)
    client.post("/alarms/acknowledge")
    assert "_flashes" in opened(site_app, cookie_of(client))
    assert "Say who you are first" in client.get("/alarms").text
    assert client.get_cookie(NAME) is None
    assert "Say who you are first" not in client.get("/alarms").text


def test_the_cookie_is_for_this_site_alone(site_app: Flask, shop: Workshop) -> None:
    """No script reads it, no other site's page sends it, it ends with the browser.

    It is not marked Secure: inside a factory the pages come over plain HTTP, where a browser would
    not keep it.
    """
    answer = at_work(site_app).post("/alarms/who", data={"badge": shop.people[0]})
    (cookie,) = answer.headers.getlist("Set-Cookie")
    begin, *flags = cookie.split("; ")
    assert begin.startswith(f"{NAME}=")
    assert set(flags) == {"HttpOnly", "Path=/", "SameSite=Strict"}
    assert "Cookie" in answer.headers["Vary"]


def test_forgetting_who_is_there_leaves_no_name(site_app: Flask, shop: Workshop) -> None:
    """Only since when nobody is there: scans of before, which come late, are not of now. Where
    nobody was there, there is nothing to keep."""
    client = at_work(site_app)
    client.post("/alarms/who", data={"person": ""})
    assert client.get_cookie(NAME) is None
    client.post("/alarms/who", data={"badge": shop.people[0]})
    client.post("/alarms/who", data={"person": ""})
    assert opened(site_app, cookie_of(client)) == {"who": ["", NOW, NOW]}


def test_an_empty_session_takes_the_cookie_back(site_app: Flask, shop: Workshop) -> None:
    """It is none: the browser is told to drop it, with the same flags."""
    client = at_work(site_app)
    client.post("/alarms/acknowledge")
    answer = client.get("/alarms")
    (cookie,) = answer.headers.getlist("Set-Cookie")
    assert parse_cookie(cookie)[NAME] == ""
    assert {"Max-Age=0", "HttpOnly", "Path=/", "SameSite=Strict"} <= set(cookie.split("; "))
    assert client.get_cookie(NAME) is None


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("path", ["/alarms", "/watch", "/scan", "/api/v1/health"])
def test_what_changes_nothing_sets_no_cookie(
    site_app: Flask, shop: Workshop, path: str, known: bool
) -> None:
    """Looking does not: nobody's name is kept for longer by it, and no cookie is made."""
    client = at_work(site_app, signed(site_app, KEPT) if known else None)
    answer = client.get(path)
    assert answer.status_code == 200
    assert "Set-Cookie" not in answer.headers


def test_a_scan_sets_no_cookie_but_a_badge_does(site_app: Flask, shop: Workshop) -> None:
    """Where nobody has said who is there, a scan costs no signature."""
    for code, sets in ((shop.closed, False), (shop.people[0], True)):
        scan = {"id": str(uuid4()), "station": "A", "code": code, "at": NOW}
        answer = at_work(site_app).post("/scan", json=scan)
        assert (answer.status_code, "Set-Cookie" in answer.headers) == (200, sets)


def test_without_a_cookie_nothing_is_read_or_signed(
    site_app: Flask, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """That is what these sessions are for; with one, it is."""
    asked = []
    monkeypatch.setattr(
        CookieSessions, "get_signing_serializer", lambda _self, _app: asked.append(1)
    )
    assert at_work(site_app).get("/api/v1/health").status_code == 200
    assert asked == []
    with site_app.test_request_context(headers={"Cookie": dump_cookie(NAME, "any")}) as context:
        assert asked == [1]
        assert CookieSessions().open_session(site_app, context.request) is None


def test_a_cookie_that_was_changed_counts_for_nothing(site_app: Flask, shop: Workshop) -> None:
    """Another letter anywhere, a part missing, parts of two cookies: it is as if there was none."""
    mira, jonas = (signed(site_app, {"who": [code, NOW]}) for code in shop.people[:2])
    assert opened(site_app, mira) == {"who": [shop.people[0], NOW]}
    content, moment, signature = mira.split(".")
    # The last letter of base 64 holds bits that nothing reads: it is left out.
    changed = [
        f"{mira[:n]}{'A' if mira[n] != 'A' else 'B'}{mira[n + 1 :]}"
        for n in range(len(mira) - 1)
        if mira[n] != "."
    ]
    for cookie in (
        *changed,
        f"{jonas.split('.')[0]}.{moment}.{signature}",
        f"{content}.{moment}.",
        f"{content}.{signature}",
        f".{content}.{moment}.{signature}",
        content,
        mira[:-2],
        "",
        ".",
        "..",
        "%00",
        "x" * 4000,
    ):
        assert opened(site_app, cookie) == {}, cookie


def test_a_changed_cookie_is_no_error_and_a_new_one_takes_its_place(
    site_app: Flask, shop: Workshop
) -> None:
    """Nobody is there, the page says so, and the next badge is remembered."""
    client = at_work(site_app, signed(site_app, KEPT)[:-3] + "AAA")
    page = client.get("/alarms")
    assert page.status_code == 200
    assert "Scan your badge" in page.text
    client.post("/alarms/who", data={"badge": shop.people[1]})
    assert "You are <b>Jonas</b>" in client.get("/alarms").text


@pytest.mark.parametrize(
    "other", [{"key": "another site's"}, {"salt": "another use"}, {"key": "", "salt": ""}]
)
def test_a_cookie_that_another_site_signed_counts_for_nothing(
    site_app: Flask, other: dict[str, str]
) -> None:
    """Same form, another key; or our key, for something else than sessions."""
    ours = signed(site_app, KEPT, key=site_app.secret_key)
    assert opened(site_app, ours) == KEPT
    assert opened(site_app, signed(site_app, KEPT, **other)) == {}


def test_a_cookie_of_another_name_is_not_read(site_app: Flask) -> None:
    """What runs beside on the same host has its own, and ours may come after it."""
    ours = signed(site_app, KEPT)
    assert opened(site_app, ours, name="session") == {}
    both = f"session={signed(site_app, {'who': ['W0000027', NOW]})}; {NAME}={ours}"
    with site_app.test_request_context(headers={"Cookie": both}) as context:
        assert dict(CookieSessions().open_session(site_app, context.request) or {}) == KEPT


def test_an_old_cookie_counts_for_nothing(site_app: Flask, signed_at: list[int]) -> None:
    """For a month from when it was signed, and not a second longer; nor from the future."""
    cookie = signed(site_app, KEPT)
    signed_at[0] = NOW + KEPT_S
    assert opened(site_app, cookie) == KEPT
    signed_at[0] = NOW + KEPT_S + 1
    assert opened(site_app, cookie) == {}
    signed_at[0] = NOW - 1
    assert opened(site_app, cookie) == {}


def test_sessions_outlive_a_restart_and_stay_with_their_database(
    tmp_path: Path, site_app: Flask
) -> None:
    """The key is made once and kept in the database; another database has another."""
    mine = signed(site_app, KEPT)
    for name, kept in (("web.db", KEPT), ("another.db", {})):
        close_store()
        settings = load_settings({"database": f"sqlite:///{tmp_path / name}"})
        assert opened(create_app(settings, lambda: NOW), mine) == kept
