"""The session of a browser: a signed cookie, read where there is one."""

from __future__ import annotations

from flask import Flask, Request
from flask.sessions import SecureCookieSession, SecureCookieSessionInterface


class CookieSessions(SecureCookieSessionInterface):
    """Sessions that cost nothing where nobody has said who is there, as in most scans."""

    def open_session(self, app: Flask, request: Request) -> SecureCookieSession | None:
        """Return the session of a request, an empty one if it brings none."""
        if self.get_cookie_name(app) in request.cookies:
            return super().open_session(app, request)
        return self.session_class()
