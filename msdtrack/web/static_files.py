"""Style, scripts and fonts, served by ourselves under an address that changes with their content.

A browser may so keep them for ever, and a wall screen that polls sees when it runs an old page.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

from flask import Blueprint, Response, send_from_directory, url_for

from msdtrack.resources import resource_dir

ONE_YEAR_S = 365 * 24 * 3600
FONTS = "fonts"

static_files = Blueprint("static_files", __name__)


def _folders() -> tuple[tuple[str, Path], ...]:
    return (("", resource_dir("templates") / "static"), (FONTS, resource_dir("labels") / FONTS))


@lru_cache
def static_version() -> str:
    """Return 12 characters that change when any static file does."""
    digest = hashlib.sha256()
    for prefix, folder in _folders():
        for path in sorted(folder.rglob("*")):
            if path.is_file():
                digest.update(f"{prefix}/{path.relative_to(folder).as_posix()}\0".encode())
                digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def static_url(name: str) -> str:
    """Return the address of a static file, for example of "msdtrack.css"."""
    return url_for("static_files.serve", version=static_version(), name=name)


@static_files.get("/static/<version>/<path:name>")
def serve(version: str, name: str) -> Response:
    """Answer one static file; an old version's address gets the present file, not kept."""
    folders = dict(_folders())
    if name.startswith(f"{FONTS}/"):
        response = send_from_directory(folders[FONTS], name.removeprefix(f"{FONTS}/"))
    else:
        response = send_from_directory(folders[""], name)
    if version == static_version():
        response.headers["Cache-Control"] = f"public, max-age={ONE_YEAR_S}, immutable"
    else:
        response.headers["Cache-Control"] = "no-store"
    return response
