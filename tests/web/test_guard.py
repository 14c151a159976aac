"""Other sites can't act here, and no page is shown out of a browser's memory."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient

from msdtrack.web.static_files import static_version
from tests.web.workshop import Workshop


@pytest.mark.parametrize(
    ("headers", "allowed"),
    [
        ({"Origin": "http://localhost"}, True),
        ({"Referer": "http://localhost/setup"}, True),
        ({"Origin": "http://elsewhere.example"}, False),
        ({"Origin": "null"}, False),
        ({"Referer": "http://elsewhere.example/"}, False),
        ({"Origin": "http://localhost.elsewhere.example"}, False),
        ({"Origin": "http://elsewhere.example", "Referer": "http://localhost/"}, False),
        ({}, False),
    ],
)
def test_a_form_must_come_from_our_own_page(
    headers: dict[str, str], allowed: bool, site_app: Flask
) -> None:
    """A form that another site's page sends is refused and changes nothing."""
    client = site_app.test_client()
    answer = client.post("/setup/people", data={"name": "Mira"}, headers=headers)
    assert answer.status_code == (303 if allowed else 403)
    assert ("Mira" in client.get("/setup").text) is allowed


def test_a_program_may_call_the_api_and_another_site_may_not(site_app: Flask) -> None:
    """Programs send no origin; a page of another site does, and is refused in JSON."""
    client = site_app.test_client()
    place = {"name": "Bench", "kind": "floor"}
    assert client.post("/api/v1/places", json=place).status_code == 201
    answer = client.post(
        "/api/v1/places", json=place, headers={"Origin": "http://elsewhere.example"}
    )
    assert answer.status_code == 403
    assert answer.content_type == "application/problem+json"
    assert answer.json is not None
    assert answer.json["code"] == "forbidden"


@pytest.mark.parametrize("path", ["/", "/nowhere", "/api/v1/health"])
def test_every_answer_has_its_security_headers(path: str, browser: FlaskClient) -> None:
    """Nothing from elsewhere runs, nothing is sniffed, nothing old is shown as current."""
    headers = browser.get(path).headers
    assert headers["Content-Security-Policy"].startswith("default-src 'self'")
    assert "unsafe" not in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cache-Control"] in ("no-store", "no-cache")


def test_the_cookie_stays_here(browser: FlaskClient, shop: Workshop) -> None:
    """The session's cookie goes to no other site and to no script."""
    answer = browser.post("/alarms/who", data={"person": shop.people[0]})
    cookie = answer.headers["Set-Cookie"]
    assert "SameSite=Strict" in cookie
    assert "HttpOnly" in cookie


def test_a_static_file_is_kept_under_its_version_only(browser: FlaskClient) -> None:
    """What has the present version is kept a year, anything else is not kept at all."""
    with browser.get(f"/static/{static_version()}/msdtrack.css") as good:
        assert good.status_code == 200
        assert "immutable" in good.headers["Cache-Control"]
    with browser.get("/static/000000000000/msdtrack.css") as old:
        assert old.status_code == 200
        assert old.headers["Cache-Control"] == "no-store"
    with browser.get(f"/static/{static_version()}/fonts/DejaVuSansCondensed.ttf") as font:
        assert font.status_code == 200
    outside = browser.get(f"/static/{static_version()}/../base.html")
    assert outside.status_code == 404
    assert browser.get(f"/static/{static_version()}/fonts/../../base.html").status_code == 404


def test_the_secret_is_made_once_and_kept(site_app: Flask) -> None:
    """A restart, or a second server on the same database, reads the same sessions."""
    from msdtrack.web.app import create_app
    from msdtrack.web.site import Site

    site = site_app.extensions["msdtrack"]
    assert isinstance(site, Site)
    again = create_app(site.settings, site.now)
    assert again.secret_key == site_app.secret_key
    assert len(str(again.secret_key)) >= 32
