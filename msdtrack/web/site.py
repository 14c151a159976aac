"""What every request may ask about the site it is served by: settings, zone, clock, changes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import tzinfo

from flask import Flask, current_app

from msdtrack.config import Settings

_KEY = "msdtrack"


@dataclass(frozen=True, slots=True)
class Site:
    """The site of the running application.

    Args:
        settings: the settings in force.
        tz: the zone in which people read and write times.
        now: returns the present moment, whole seconds UTC.
        version: returns the database's change counter.
        version_at: returns what changes when anything does that a screen of a place shows.
        static_version: changes when a static file does.
    """

    settings: Settings
    tz: tzinfo
    now: Callable[[], int]
    version: Callable[[], int]
    version_at: Callable[[str], str]
    static_version: str


def bind_site(app: Flask, value: Site) -> None:
    """Make `value` the site of an application."""
    app.extensions[_KEY] = value


def site() -> Site:
    """Return the site of the application that answers the present request."""
    found = current_app.extensions[_KEY]
    assert isinstance(found, Site)
    return found
