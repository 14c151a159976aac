"""The application factory: one database, one clock, every page and the API."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable
from importlib import import_module
from pathlib import Path

from flask import Flask
from werkzeug.routing import IntegerConverter

from msdtrack.config import Settings
from msdtrack.resources import resource_dir
from msdtrack.store import connection, server
from msdtrack.times import zone
from msdtrack.web.errors import register_errors
from msdtrack.web.guard import register_guard
from msdtrack.web.polling import FragmentCache
from msdtrack.web.rendering import register_rendering
from msdtrack.web.sessions import CookieSessions
from msdtrack.web.site import Site, bind_site
from msdtrack.web.static_files import static_files, static_version
from msdtrack.web.who import register_who

PAGE_MODULES = (
    "start",
    "scan",
    "line",
    "watch",
    "carriers",
    "corrections",
    "counting",
    "receive",
    "goods_in",
    "labels",
    "ovens",
    "cabinets",
    "shift",
    "plan",
    "closing",
    "checks",
    "boards",
    "board_proof",
    "parts",
    "places",
    "alarms",
    "tables",
    "setup",
    "who",
)
"""The modules of `web.pages`; each has its routes in a blueprint called `pages`."""


class RowNumber(IntegerConverter):
    """A number in an address: one that no database holds leads to nothing."""

    regex = r"\d{1,15}"


def utc_now() -> int:
    """Return the present moment in whole seconds UTC."""
    return int(time.time())


def create_app(settings: Settings, clock: Callable[[], int] = utc_now) -> Flask:
    """Return the application, its database open and up to date.

    Args:
        settings: the settings in force.
        clock: returns the present moment in whole seconds UTC.

    Raises:
        BadInput: a setting can't be used.
        StoreUnavailable: the database does not answer, or a newer msdtrack has changed it.
    """
    backup_dir = Path(settings.backup_dir) if settings.backup_dir else None
    connection.open_store(settings.database, backup_dir=backup_dir)
    app = Flask("msdtrack", template_folder=str(resource_dir("templates")), static_folder=None)
    app.url_map.converters["int"] = RowNumber
    app.session_interface = CookieSessions()
    app.secret_key = settings.secret_key or _kept_secret()
    bind_site(
        app,
        Site(
            settings,
            zone(settings.timezone),
            clock,
            connection.version,
            connection.version_at,
            static_version(),
        ),
    )
    app.extensions["fragments"] = FragmentCache()
    register_rendering(app)
    register_guard(app, settings)
    register_who(app)
    register_errors(app)
    app.register_blueprint(static_files)
    for name in PAGE_MODULES:
        app.register_blueprint(import_module(f"msdtrack.web.pages.{name}").pages)
    app.register_blueprint(import_module("msdtrack.web.api.blueprint").create_blueprint())
    return app


def _kept_secret() -> str:
    """Return the key that signs sessions, made once and kept, so that all servers share it."""
    with connection.write():
        return server.kept_value("secret_key", lambda: secrets.token_urlsafe(32))
