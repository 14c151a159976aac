"""Each error has one status and words, as JSON for programs and as a page for people."""

from __future__ import annotations

import pytest
from flask import Flask

from msdtrack import errors
from msdtrack.printing.codes import BadCode
from msdtrack.store.errors import StoreUnavailable
from msdtrack.web.errors import status_of

CASES = [
    (errors.BadInput("rh_pct: 140 % is no humidity."), 422),
    (BadCode("One character is wrong."), 422),
    (errors.NotFound("There is no carrier C1."), 404),
    (errors.Conflict("The number is on file."), 409),
    (errors.Refused("It is not open."), 409),
    (StoreUnavailable("The disk is full."), 503),
    (errors.MsdtrackError("Something else."), 500),
]


@pytest.mark.parametrize(("error", "status"), CASES, ids=lambda case: type(case).__name__)
def test_an_error_has_one_status(error: errors.MsdtrackError, status: int, site_app: Flask) -> None:
    """The page and the problem have the same status and both say what happened."""
    assert status_of(error) == status

    def fail() -> str:
        raise error

    site_app.add_url_rule("/fails", "fails", fail)
    site_app.add_url_rule("/api/fails", "api_fails", fail)
    client = site_app.test_client()
    page = client.get("/fails")
    assert page.status_code == status
    assert error.message in page.text
    problem = client.get("/api/fails")
    assert problem.status_code == status
    assert problem.content_type == "application/problem+json"
    assert problem.json is not None
    assert problem.json["code"] == error.code
    assert problem.json["detail"] == error.message
    assert problem.json["status"] == status


def test_findings_are_listed_by_field(site_app: Flask) -> None:
    """What is wrong with single values stands in both."""
    error = errors.BadInput("Two things.", [errors.FieldError("lot", "give the lot")])

    def fail() -> str:
        raise error

    site_app.add_url_rule("/fails", "fails", fail)
    site_app.add_url_rule("/api/fails", "api_fails", fail)
    client = site_app.test_client()
    assert "give the lot" in client.get("/fails").text
    answer = client.get("/api/fails")
    assert answer.json is not None
    assert answer.json["errors"] == [{"field": "lot", "message": "give the lot"}]


def test_what_nobody_foresaw_tells_nothing_of_the_inside(site_app: Flask) -> None:
    """An unexpected error says what to do and keeps its text in the log."""

    def fail() -> str:
        raise RuntimeError("password=1234")

    site_app.add_url_rule("/fails", "fails", fail)
    site_app.add_url_rule("/api/fails", "api_fails", fail)
    client = site_app.test_client()
    for path in ("/fails", "/api/fails"):
        answer = client.get(path)
        assert answer.status_code == 500
        assert "1234" not in answer.text
    assert "write on the label by hand" in client.get("/fails").text


@pytest.mark.parametrize(("method", "path", "status"), [
    ("GET", "/nowhere", 404), ("DELETE", "/watch", 405), ("GET", "/api/v1/nowhere", 404),
    ("DELETE", "/api/v1/health", 405),
])  # fmt: skip
def test_http_errors_are_in_words_too(method: str, path: str, status: int, site_app: Flask) -> None:
    """A wrong address or method answers in the form of its side, and says what is allowed."""
    headers = {"Origin": "http://localhost"}
    answer = site_app.test_client().open(path, method=method, headers=headers)
    assert answer.status_code == status
    expected = "application/problem+json" if path.startswith("/api/") else "text/html"
    assert answer.mimetype == expected
    if status == 405:
        assert "GET" in answer.headers["Allow"]
    else:
        assert f"There is nothing at {path}." in answer.text
