"""A name that somebody else's DNS leads here is refused, and what people use today works."""

from __future__ import annotations

import socket

import pytest
from flask import Flask
from werkzeug.test import EnvironBuilder, run_wsgi_app

from msdtrack.config import load_settings
from msdtrack.store.connection import close_store
from msdtrack.web import own_names as module
from msdtrack.web.app import create_app
from msdtrack.web.own_names import is_own, own_names
from msdtrack.web.site import Site


@pytest.fixture(autouse=True)
def machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """The machine is called Mast, in the domain of the yard."""
    monkeypatch.setattr(socket, "gethostname", lambda: "Mast")
    monkeypatch.setattr(module, "full_name", lambda: "mast.yard.example")


def allowed(asked: str, **settings: str) -> bool:
    """Return whether a server with these settings answers under a host."""
    return is_own(asked, own_names(load_settings(settings)))


OWN = [
    "localhost", "localhost:8033", "LOCALHOST", "localhost.", "localhost.:8033",
    "demo.localhost", "a.b.localhost:8033",
    "127.0.0.1", "127.0.0.1:8033", "192.168.4.20", "10.0.0.7:8033",
    "[::1]", "[::1]:8033", "[fd00::4:20]:8033", "[FD00::4:20]", "[fe80::1%eth0]:8033",
    "mast", "Mast", "MAST:8033", "mast.", "mast.local", "mast.local.:8033",
    "mast.yard.example", "Mast.Yard.Example:8033", "mast.yard.example.",
    "msdtrack", "msdtrack:8033", "buoy_shop.",
]  # fmt: skip

FOREIGN = [
    "elsewhere.example", "elsewhere.example:8033", "localhost.elsewhere.example",
    "mast.elsewhere.example", "mast.yard.example.elsewhere.example",
    "yard.example", "x.ylocalhost", "127.0.0.1.elsewhere.example", "127.0.0.1x",
    "msdtrack.yard.example", "", ".", ":8033", "[", "[::1", "[x]", "[::1].elsewhere.example",
]  # fmt: skip


@pytest.mark.parametrize("host", OWN)
def test_addresses_and_the_machine_s_own_names_are_answered(host: str) -> None:
    """Whoever knows the machine reaches it, with or without a port, in upper case too."""
    assert allowed(host)


@pytest.mark.parametrize("host", FOREIGN)
def test_any_other_name_is_none_of_ours(host: str) -> None:
    """A name that only contains one of ours is not ours."""
    assert not allowed(host)


@pytest.mark.parametrize(
    ("public_url", "host"),
    [
        ("https://msdtrack.yard.example", "msdtrack.yard.example"),
        ("https://msdtrack.yard.example/", "msdtrack.yard.example:443"),
        ("http://MSDtrack.Yard.Example.:8033/floor/", "msdtrack.yard.example"),
        ("http://boje.österreich.example:8033", "boje.xn--sterreich-z7a.example:8033"),
        ("http://[fd00::4:20]:8033", "[fd00::4:20]:8033"),
    ],
)
def test_the_host_of_public_url_is_answered(public_url: str, host: str) -> None:
    """That setting is enough for a name of the company's network, or a proxy's."""
    assert allowed(host, public_url=public_url)
    assert not allowed("elsewhere.example", public_url=public_url)


def test_the_name_it_serves_on_is_answered() -> None:
    """It prints that address itself when it starts."""
    assert allowed("Bench.yard.example:8033", host="bench.yard.example")


def test_a_machine_whose_name_has_its_domain_is_known_by_both() -> None:
    """Some systems keep the whole name, others the first part only."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(socket, "gethostname", lambda: "mast.yard.example")
        patch.setattr(module, "full_name", lambda: "localhost")
        for host in ("mast", "mast.local", "mast.yard.example"):
            assert allowed(host)
        assert not allowed("yard.example")


def test_dns_is_not_asked_for_what_is_known_without_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """A start without DNS, and a screen that asks by address, wait for nothing."""

    def never() -> str:
        raise AssertionError

    monkeypatch.setattr(module, "full_name", never)
    for host in ("localhost", "192.168.4.20:8033", "mast", "mast.local", "[::1]"):
        assert allowed(host)


@pytest.mark.parametrize("method", ["GET", "POST", "OPTIONS"])
@pytest.mark.parametrize("path", ["/", "/watch", "/nowhere", "/static/x/msdtrack.css"])
def test_a_page_under_a_foreign_name_is_refused_with_what_to_do(
    method: str, path: str, site_app: Flask
) -> None:
    """Nothing is shown or done, no link leads on; the words name the setting and its value."""
    headers = {
        "Host": "buoys.elsewhere.example:8033",
        "Origin": "http://buoys.elsewhere.example:8033",
    }
    answer = site_app.test_client().open(path, method=method, headers=headers)
    assert answer.status_code == 421
    assert "set public_url to http://buoys.elsewhere.example:8033 in its settings" in answer.text
    assert "MSDTRACK_PUBLIC_URL" in answer.text
    assert "Open http" not in answer.text
    assert "href" not in answer.text
    assert "Buoy yard" not in answer.text
    assert answer.headers["Cache-Control"] == "no-store"


def test_a_form_under_a_foreign_name_changes_nothing(site_app: Flask) -> None:
    """A page that rebinds its name sends an origin that matches; it is refused all the same."""
    client = site_app.test_client()
    headers = {"Host": "elsewhere.example", "Origin": "http://elsewhere.example"}
    answer = client.post("/setup/people", data={"name": "Mira"}, headers=headers)
    assert answer.status_code == 421
    assert "Mira" not in client.get("/setup").text


def test_the_api_refuses_with_a_stable_code(site_app: Flask) -> None:
    """A program finds the code beside the words."""
    client = site_app.test_client()
    for path in ("/api/v1/watch", "/api/v1/nowhere"):
        answer = client.get(path, headers={"Host": "elsewhere.example"})
        assert answer.status_code == 421
        assert answer.content_type == "application/problem+json"
        assert answer.json is not None
        assert answer.json["code"] == "misdirected_request"
        assert answer.json["type"] == "urn:msdtrack:problem:misdirected_request"
        assert "set public_url to http://elsewhere.example" in answer.json["detail"]


def test_a_proxy_is_answered_once_public_url_is_set(site_app: Flask) -> None:
    """The name that was refused is answered, forms too, and the words name what is set."""
    site = site_app.extensions["msdtrack"]
    assert isinstance(site, Site)
    close_store()
    database, public_url = site.settings.database, "https://buoys.yard.example"
    settings = load_settings({"database": database, "public_url": public_url})
    client = create_app(settings, site.now).test_client()
    headers = {"Host": "buoys.yard.example", "Origin": "https://buoys.yard.example"}
    assert client.get("/", headers=headers).status_code == 200
    answer = client.post("/setup/people", data={"name": "Mira"}, headers=headers)
    assert answer.status_code == 303
    other = client.get("/", headers={"Host": "buoys.example"})
    assert other.status_code == 421
    assert f"Open {public_url}, and let a proxy in front of it pass on that name." in other.text


def test_a_program_that_names_no_host_is_answered(site_app: Flask) -> None:
    """HTTP/1.0 knows no Host, and probes speak it; a browser always sends one."""
    environ = EnvironBuilder(path="/api/v1/health").get_environ()
    del environ["HTTP_HOST"]
    _, status, _ = run_wsgi_app(site_app.wsgi_app, environ)
    assert status.startswith("200")
