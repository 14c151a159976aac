"""Fragments that screens ask for every few seconds, answered 304 while nothing has changed.

The tag is made of the database's change counter and the half minute, so an unchanged answer costs
one small query, and all screens that show the same thing share one computation.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable

from flask import Response, request

from msdtrack.web.site import site

REFRESH_S = 30
"""A fragment is made anew after this long even if nothing was written: time alone changes it."""

_KEPT = 64


class FragmentCache:
    """The newest fragments by their key, with the tag they were made for."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, tuple[str, str]] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: str, tag: str, make: Callable[[], str]) -> str:
        """Return the fragment of a key, made only if the kept one is for another tag."""
        with self._lock:
            kept = self._kept.get(key)
        if kept is not None and kept[0] == tag:
            return kept[1]
        body = make()
        with self._lock:
            self._kept[key] = (tag, body)
            self._kept.move_to_end(key)
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        return body


def polled(cache: FragmentCache, key: str, make: Callable[[], str]) -> Response:
    """Return the fragment, or 304 if the browser has it.

    The header `X-Server-Time` (seconds UTC) sets the screen's clock, `X-Page-Version` tells it to
    load the page anew.

    Args:
        cache: the application's.
        key: what the fragment shows, its filters included.
        make: makes it.
    """
    now, here = site().now(), site()
    tag = f"{here.static_version}-{here.version()}-{now // REFRESH_S}"
    response = Response(mimetype="text/html")
    response.set_etag(tag)
    response.headers["Cache-Control"] = "no-cache"
    response.headers["X-Server-Time"] = str(now)
    response.headers["X-Page-Version"] = here.static_version
    if tag in request.if_none_match:
        response.status_code = 304
    else:
        response.set_data(cache.get(key, tag, make))
    return response
