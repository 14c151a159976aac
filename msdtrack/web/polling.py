"""Fragments that screens ask for every few seconds, answered 304 while nothing has changed.

An unchanged answer costs one small query, and all screens that show the same thing share one
computation. A fragment holds until something is written that a screen shows, until a clock on it
ends, or for half a minute: time alone changes what it says.
"""

from __future__ import annotations

import re
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from flask import Response, request

from msdtrack.web.site import site

REFRESH_S = 30
"""A fragment is made anew after this long even if nothing was written and no clock on it ended."""

_KEPT = 64
_TURNS = re.compile(r'data-(?:ends|turns)-at="(\d+)"')
"""A moment at which what stands beside it becomes something else."""


@dataclass(frozen=True, slots=True)
class Fragment:
    """A fragment as it was made.

    Args:
        version: of what it was made from.
        made_at: when, seconds UTC.
        until: it says the same before this moment, if nothing is written.
    """

    version: str
    made_at: int
    until: int
    body: str


class FragmentCache:
    """The newest fragments by what they show."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, _Place] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: str, version: str, now: int, make: Callable[[], str]) -> Fragment:
        """Return the fragment of a key, made only if the kept one does not hold any more.

        Who asks while it is being made waits for it.

        Args:
            key: what the fragment shows, its filters included.
            version: of what it is made from.
            now: the present moment.
            make: makes its body.
        """
        with self._lock:
            place = self._kept.setdefault(key, _Place())
            self._kept.move_to_end(key)
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        with place.lock:
            kept = place.fragment
            if kept is None or kept.version != version or not kept.made_at <= now < kept.until:
                body = make()
                kept = place.fragment = Fragment(version, now, _until(body, now), body)
            return kept


def _until(body: str, now: int) -> int:
    """Return before which moment a body says the same."""
    ends = [int(found) for found in _TURNS.findall(body)]
    # A moment is rounded down: what ends within its second has ended in the next one.
    return min([now + REFRESH_S, *(at for end in ends for at in (end, end + 1) if at > now)])


class _Place:
    """Where a fragment is kept, with the lock of whoever makes it."""

    __slots__ = ("fragment", "lock")

    def __init__(self) -> None:
        self.fragment: Fragment | None = None
        self.lock = threading.Lock()


def polled(
    cache: FragmentCache, key: str, make: Callable[[], str], version: str | None = None
) -> Response:
    """Return the fragment, or 304 if the browser has it.

    The header `X-Server-Time` (seconds UTC) sets the screen's clock, `X-Page-Version` tells it to
    load the page anew.

    Args:
        cache: the application's.
        key: what the fragment shows, its filters included.
        make: makes it.
        version: of what it is made from; None: of everything.
    """
    now, here = site().now(), site()
    made_from = str(here.version()) if version is None else version
    fragment = cache.get(key, f"{here.static_version}-{made_from}", now, make)
    tag = f"{fragment.version}-{fragment.made_at}"
    response = Response(mimetype="text/html")
    response.set_etag(tag)
    response.headers["Cache-Control"] = "no-cache"
    response.headers["X-Server-Time"] = str(now)
    response.headers["X-Page-Version"] = here.static_version
    if tag in request.if_none_match:
        response.status_code = 304
    else:
        response.set_data(fragment.body)
    return response
