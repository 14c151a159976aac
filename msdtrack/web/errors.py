"""Where an error becomes an HTTP answer: problem+json under /api, a page anywhere else."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterable
from dataclasses import dataclass
from http import HTTPStatus

from flask import Flask, Response, request
from werkzeug.exceptions import HTTPException, NotFound
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import FieldError, MsdtrackError
from msdtrack.web.rendering import render_page

API_PREFIX = "/api/"

STATUS_OF_CODE = {
    "bad_input": 422,
    "not_found": 404,
    "conflict": 409,
    "refused": 409,
    "store_unavailable": 503,
    "error": 500,
}
"""HTTP status by the stable code of an error; a code that is not here has its parent's."""

TITLES = {
    400: "The request could not be read",
    403: "This is not allowed from here",
    404: "Nothing is known under this name",
    405: "This address does not do that",
    409: "This does not fit what is on record",
    413: "That is too much at once",
    415: "This kind of content is not understood",
    421: "This server is not known under that name",
    422: "Something in it is not right",
    500: "The server made a mistake",
    503: "The database does not answer",
}

WHAT_TO_DO = {
    400: "Go back, load the page again and repeat what you did.",
    403: "Open the page from its own address and repeat what you did there.",
    404: "Check the code or address. The search on the list of carriers finds parts of a code too.",
    405: "Go back to the page you came from.",
    409: "Nothing was changed. Look at the present state, then decide again.",
    413: "Split the file and send the pieces one after the other.",
    415: "Nothing was changed. Send it in one of the forms the page names.",
    421: "Nothing was done. If a link elsewhere brought you here, close the page. Else tell "
    "whoever looks after the server what stands above.",
    422: "Nothing was changed. Go back, put it right and send it again.",
    500: "Nothing was half-written. Try once more; if it comes back, tell whoever looks after the "
    "server, with the time of day. Until then write on the label by hand.",
    503: "Nothing was changed. Write times on the labels by hand, tell whoever looks after the "
    "server, and enter them when it answers again.",
}

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class ErrorPage:
    """The page that says what went wrong.

    Args:
        status: HTTP status.
        title: what kind of thing happened.
        message: what happened.
        what_to_do: what to do now.
        errors: findings about single values.
    """

    status: int
    title: str
    message: str
    what_to_do: str
    errors: tuple[FieldError, ...] = ()


def status_of(error: MsdtrackError) -> int:
    """Return the HTTP status of an error."""
    for kind in type(error).__mro__:
        code = getattr(kind, "code", None)
        if code in STATUS_OF_CODE:
            return STATUS_OF_CODE[code]
    return 500


def problem(
    status: int, title: str, detail: str, code: str, errors: Iterable[FieldError] = ()
) -> Response:
    """Return an answer in application/problem+json.

    Args:
        status: HTTP status.
        title: what kind of problem it is.
        detail: what happened and what to do.
        code: stable code for programs.
        errors: findings about single fields.

    Source: RFC 9457.
    """
    body: dict[str, object] = {
        "type": f"urn:msdtrack:problem:{code}",
        "title": title,
        "status": status,
        "detail": detail,
        "code": code,
    }
    found = [{"field": each.field, "message": each.message} for each in errors]
    if found:
        body["errors"] = found
    return Response(json.dumps(body), status, mimetype="application/problem+json")


def register_errors(app: Flask) -> None:
    """Make every error of an application end in words."""
    app.register_error_handler(MsdtrackError, _known)
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(Exception, _unexpected)


def _known(error: MsdtrackError) -> Response:
    status = status_of(error)
    if status >= HTTPStatus.INTERNAL_SERVER_ERROR:
        _log.error("%s", error, exc_info=error)
    return _answer(status, error.message, error.code, error.errors)


def _http(error: HTTPException) -> AnyResponse:
    if error.response is not None or error.code is None or error.code < HTTPStatus.BAD_REQUEST:
        return error.get_response()
    code = HTTPStatus(error.code).name.lower()
    said = error.description or error.name
    if error.code == HTTPStatus.NOT_FOUND and said == NotFound.description:
        said = f"There is nothing at {request.path}."
    answer = _answer(error.code, said, code, ())
    for name, value in error.get_headers():
        if name.lower() not in ("content-type", "content-length"):
            answer.headers[name] = value
    return answer


def _unexpected(error: Exception) -> Response:
    _log.error("%s %s", request.method, request.path, exc_info=error)
    return _answer(500, "Something happened that was not foreseen.", "error", ())


def _answer(status: int, message: str, code: str, errors: Iterable[FieldError]) -> Response:
    title = TITLES.get(status, HTTPStatus(status).phrase)
    if request.path.startswith(API_PREFIX):
        return problem(status, title, message, code, errors)
    what_to_do = WHAT_TO_DO.get(status, "Go back and try once more.")
    page = ErrorPage(status, title, message, what_to_do, tuple(errors))
    template = "other_name.html" if status == HTTPStatus.MISDIRECTED_REQUEST else "error.html"
    response = render_page(template, page)
    response.status_code = status
    return response
