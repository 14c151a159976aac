"""Every page that people open, at the reference load with more kinds of places, and its growth.

No target of the issue: the limits are ours. A page that folds all that was ever at a place is fast
in a demo and takes seconds in its second year; this finds it.
"""

from __future__ import annotations

import html
import http.client
import re
import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from statistics import median
from urllib.parse import urljoin, urlsplit
from uuid import uuid4

from msdtrack.exposure.facts import HOUR_S
from msdtrack.services import (
    alarm_rules,
    boards,
    catalog,
    counting,
    event_recording,
    people,
    receiving,
)
from msdtrack.services.boards import NewBatch
from msdtrack.services.catalog import NewPlace
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.receiving import NewCarrier
from msdtrack.store import standings as table
from msdtrack.store.connection import close_store, open_store, write
from msdtrack.store.statements import execute
from tests.bench.databases import Databases
from tests.bench.measuring import absolute, heading, ratio
from tests.bench.reference_load import PARTS, Size
from tests.bench.scans import fill_to_now
from tests.bench.serving import served

MOST_S = 0.5
"""What a person waits for without wondering."""

MOST_GROWTH = 1.5
EACH = 3
"""So often each page is asked for."""

ALIKE = 2
"""So many pages of the same shape."""

_KINDS = ("cabinet", "line", "oven", "store")
_LINK = re.compile(r'(?:href|data-live)="(/[^"#]*)')


@dataclass(frozen=True, slots=True)
class Page:
    """A page that was opened: seconds of it, and its bytes."""

    path: str
    seconds: float
    length: int


def pages_target(databases: Databases, size: Size) -> None:
    """Print how long the pages take, with the history of the load and with twice as much."""
    heading("11. Every page that people open")
    found = {}
    for name, load in (("", size), ("twice", replace(size, history=size.history * 2))):
        with databases.empty() as url:
            fill_to_now(url, load)
            _furnish(url, size)
            databases.settle(url)
            with served(url) as server:
                found[name] = crawl(server.port)
    base, twice = found[""], found["twice"]
    slowest = sorted(base.values(), key=lambda page: -page.seconds)
    for page in slowest[:8]:
        absolute(f"{page.path[:44]}, {page.length / 1000:,.0f} KB", page.seconds)
    absolute(f"median of {len(base)} pages", median(page.seconds for page in base.values()))
    ratio(
        "seconds of the slowest page", slowest[0].seconds, f"<= {MOST_S:g}",
        slowest[0].seconds <= MOST_S, ours=slowest[0].seconds,
    )  # fmt: skip
    both = base.keys() & twice.keys()
    before, after = (sum(of[shape].seconds for shape in both) for of in (base, twice))
    ratio(
        f"{len(both)} pages, twice the history / base", after / before, f"<= {MOST_GROWTH:g}",
        after <= MOST_GROWTH * before, ours=after,
    )  # fmt: skip
    worst = max(both, key=lambda shape: twice[shape].seconds - base[shape].seconds)
    absolute(f"what grows most, {base[worst].path[:36]}", base[worst].seconds)
    absolute("the same with twice the history", twice[worst].seconds)


def crawl(port: int) -> dict[str, Page]:
    """Open every page that links lead to, a few of each shape; return the slowest of each.

    Raises:
        AssertionError: a page is not answered.
    """
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    waiting, seen, found = ["/"], {"/": 1}, dict[str, Page]()
    while waiting:
        path = waiting.pop(0)
        times = []
        for _ in range(EACH):
            start = time.perf_counter()
            connection.request("GET", path)
            answer = connection.getresponse()
            body = answer.read()
            times.append(time.perf_counter() - start)
        assert answer.status < 400, (answer.status, path)
        page, shape = Page(path, median(times), len(body)), shape_of(path)
        found[shape] = max(found.get(shape, page), page, key=lambda one: one.seconds)
        links = [answer.getheader("Location") or path]
        if "html" in (answer.getheader("Content-Type") or ""):
            links += [html.unescape(link) for link in _LINK.findall(body.decode())]
        for link in links:
            to = urljoin(path, link)
            if seen.setdefault(shape_of(to), 0) < ALIKE and to != path:
                seen[shape_of(to)] += 1
                waiting.append(to)
    connection.close()
    return found


def shape_of(path: str) -> str:
    """Return what pages of one kind have in common: the path without codes and numbers."""
    parts = urlsplit(path)
    names = sorted(each.partition("=")[0] for each in parts.query.split("&"))
    shape = re.sub(r"/static/.*", "/static", parts.path)
    return f"{re.sub(r'[^/]*[0-9][^/]*', '0', shape)}?{'&'.join(names)}"


def _furnish(url: str, size: Size) -> None:
    """Give the load what only floors do not show: cabinets, an oven, boards, sealed stock, a count
    that runs, alarms."""
    open_store(url)
    now = int(time.time())
    with write():
        # The load has no such counter: new carriers would be called as carriers of the load are.
        sql = "INSERT INTO counter (kind, value) VALUES ('carrier', ?)"
        execute(sql, (size.exposed + 2 * size.history,))
    places = {
        kind: catalog.create_place(NewPlace(name=f"The {kind}", kind=kind), now - HOUR_S)[0].code
        for kind in _KINDS
    }
    person = people.add_person("Ines", now).code
    codes = iter([one.carrier for one in table.standings() if one.listed])

    def moved(kind: str, to: str, count: int, **what: object) -> list[str]:
        taken = [next(codes) for _ in range(count)]
        for code in taken:
            event = NewEvent(str(uuid4()), code, kind, now - 600, person, place=to, **what)  # type: ignore[arg-type]
            event_recording.record([event], now)
        return taken

    moved("move", places["cabinet"], size.exposed // 30)
    moved("bake_start", places["oven"], size.exposed // 200, temp_c=40.0)
    lying = moved("move", places["line"], size.exposed // 50)
    for n in range(max(1, size.exposed // 500)):
        batch, _ = boards.create(NewBatch(f"Pressure board {n}", 40, places["line"], person), now)
        for code in lying[n : n + 4]:
            placing = NewEvent(str(uuid4()), code, "place_on_board", now - 300, person)
            placing = replace(placing, quantity=3, board=batch.code)
            boards.place(batch.code, placing, now)
    sealed_on = (datetime.fromtimestamp(now, UTC) - timedelta(days=40)).date()
    with write():
        for n in range(size.exposed // 5):
            new = NewCarrier(PARTS[n % len(PARTS)].number, f"S-{n % 50}", 500, "reel")
            new = replace(new, place=places["store"], sealed_on=sealed_on)
            received, _ = receiving.receive(new, now)
            if n < 100:
                counting.found(places["store"], received.code, now)
    alarm_rules.evaluate(now)
    close_store()
