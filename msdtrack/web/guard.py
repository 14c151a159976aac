"""What keeps other sites out of a browser that is at work here, and old pages out of its memory."""

from __future__ import annotations

from urllib.parse import urlsplit

from flask import Flask, Response, abort, request

from msdtrack.config import Settings
from msdtrack.web.errors import API_PREFIX
from msdtrack.web.own_names import is_own, own_names

_HARMLESS = {"GET", "HEAD", "OPTIONS"}

HEADERS = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data:; object-src 'none'; "
    "base-uri 'none'; form-action 'self'; frame-ancestors 'self'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}


def register_guard(app: Flask, settings: Settings) -> None:
    """Refuse names that are not this server's and forms that another site sent, and give every
    answer its security headers."""
    names = own_names(settings)
    app.config.update(
        SESSION_COOKIE_SAMESITE="Strict",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_NAME="msdtrack",
        MAX_CONTENT_LENGTH=64 * 1024 * 1024,
        MAX_FORM_MEMORY_SIZE=16 * 1024 * 1024,
    )
    app.before_request(lambda: _refuse_other_names(names, settings.public_url))
    app.before_request(_refuse_foreign_forms)
    app.after_request(_add_headers)


def _refuse_other_names(names: frozenset[str], public_url: str) -> None:
    """A browser always says what it asked for; a program of old may leave it out."""
    host = request.headers.get("Host")
    if host is None or is_own(host, names):
        return
    instead = ""
    if public_url:
        instead = f"Open {public_url}, and let a proxy in front of it pass on that name. "
    abort(
        421,
        f"This server was asked for as {host}, which is none of its names. {instead}If people are "
        f"to reach it as {host}, set public_url to {request.scheme}://{host} in its settings file "
        "or as MSDTRACK_PUBLIC_URL in its environment (with https:// where the browser has it) and "
        "start it anew. Its IP address and the machine's own name work without that.",
    )


def _refuse_foreign_forms() -> None:
    """A browser says where a form comes from; a program that calls the API need not."""
    if request.method in _HARMLESS:
        return
    origin = request.headers.get("Origin") or request.headers.get("Referer")
    if origin is None:
        if not request.path.startswith(API_PREFIX):
            abort(403, "The browser did not say which page this came from, so it was not done.")
    elif urlsplit(origin).netloc != request.host:
        abort(403, "This came from another site's page, so it was not done.")


def _add_headers(response: Response) -> Response:
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    # A page out of the browser's memory would show old numbers as if they were current.
    response.headers.setdefault("Cache-Control", "no-store")
    return response
