"""The clients of target 7, a process of its own: `python -m tests.bench.screen_clients`.

It is told on its standard input what to do, says "warm" once every screen has had its first
answer, "done" when the time is over, and then what it saw. Screens ask as `live.js` does: with the
ETag of what they show, five seconds after the last answer, by a connection that is kept for as long
as the server keeps it.
"""

from __future__ import annotations

import asyncio
import json
import re
import sys
import time
from dataclasses import dataclass, field
from itertools import count
from typing import Any
from uuid import uuid4

from msdtrack.printing.codes import BadCode, make_action_code, read_code

READINGS_EVERY_S = 60
SCANS_EVERY_S = 7.5
"""One after the other at all stations: eight a minute."""

_HEADERS = (
    "User-Agent: Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101\r\n"
    "Accept: */*\r\nAccept-Language: en-GB,en;q=0.5\r\n"
    "Sec-Fetch-Dest: empty\r\nSec-Fetch-Mode: cors\r\nSec-Fetch-Site: same-origin\r\n"
)
_ROW = re.compile(r'<li class="wall-row wall-(\w+)".*?level \w+ · (\w+) ·', re.DOTALL)
_AIR = re.compile(r'class="wall-reading">([^<]*)<')


class Line:
    """A connection that is kept until the server ends it, as it does after each 304."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._open = False

    async def _connect(self) -> None:
        self._reader, self._writer = await asyncio.open_connection("127.0.0.1", self._port)
        self._open = True

    async def ask(
        self, method: str, path: str, tag: str = "", body: bytes = b""
    ) -> tuple[int, dict[str, str], bytes]:
        """Return status, headers and body of an answer."""
        head = f"{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{self._port}\r\n{_HEADERS}"
        if tag:
            head += f"If-None-Match: {tag}\r\n"
        if body:
            head += (
                f"Origin: http://127.0.0.1:{self._port}\r\nContent-Type: application/json\r\n"
                f"Content-Length: {len(body)}\r\n"
            )
        if not self._open:
            await self._connect()
        self._writer.write(head.encode() + b"\r\n" + body)
        told = (await self._reader.readuntil(b"\r\n\r\n")).decode().split("\r\n")
        headers = {
            name.lower(): value for name, _, value in (line.partition(": ") for line in told[1:])
        }
        answer = await self._reader.readexactly(int(headers.get("content-length", "0")))
        if headers.get("connection") == "close":
            self._writer.close()
            self._open = False
        return int(told[0].split()[1]), headers, answer


@dataclass
class Seen:
    """What the clients saw."""

    polls: int = 0
    same: int = 0
    bytes: int = 0
    scans: int = 0
    compared: int = 0
    times: list[float] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)


class Screen:
    """A screen on the wall."""

    def __init__(self, line: Line, place: str, way: str, static: str) -> None:
        self._line, self._place, self._way = line, place, way
        self._page, self._data = f"/line/{place}", f"/line/{place}/data"
        self._path = {"page": self._page, "static": static}.get(way, self._data)
        self._tag, self._body = "", b""

    async def ask(self, seen: Seen) -> None:
        """Ask once."""
        start = time.perf_counter()
        tag = self._tag if self._way == "etag" else ""
        status, headers, body = await self._line.ask("GET", self._path, tag)
        seen.times.append(time.perf_counter() - start)
        seen.polls += 1
        seen.bytes += len(body)
        if status == 304:
            seen.same += 1
        elif status == 200:
            self._tag, self._body = headers.get("etag", ""), body
        else:
            seen.faults.append(f"{status} {self._path}")

    async def run(self, wait_s: float, every_s: float, until: float, seen: Seen) -> None:
        """Ask until the time is over."""
        await asyncio.sleep(wait_s)
        while time.perf_counter() < until:
            await self.ask(seen)
            await asyncio.sleep(every_s)

    async def compare(self, seen: Seen) -> None:
        """Hold what it shows against its page, which is made anew."""
        if self._way == "static":
            return
        # Nothing is written any more, so both are made from the same.
        await self.ask(seen)
        _, _, page = await self._line.ask("GET", self._page)
        shown, made = said(self._body), said(page)
        if not shown[1] or shown != made:
            seen.faults.append(f"{self._place} says {shown}, made anew {made}")
        seen.compared += 1


def said(body: bytes) -> tuple[list[tuple[str, str]], list[str]]:
    """Return the marks and carriers of a screen in their order, and its air."""
    text = body.decode()
    return _ROW.findall(text), _AIR.findall(text)


async def readings(line: Line, places: list[str], until: float) -> None:
    """Send a reading of each place every minute, one after the other."""
    for n in count():
        if time.perf_counter() > until:
            return
        at, place = int(time.time()), places[n % len(places)]
        # Like the load's air, a little otherwise each time.
        sent = [
            {"place": place, "at": f"{time.strftime('%Y-%m-%dT%H:%M:%SZ', time.gmtime(at))}",
             "temp_c": 23.5 + n % 7 / 10, "rh_pct": 46.0 + n % 11 / 10}
        ]  # fmt: skip
        status, _, body = await line.ask("POST", "/api/v1/readings", body=json.dumps(sent).encode())
        assert status in (200, 201), (status, body)
        await asyncio.sleep(READINGS_EVERY_S / len(places))


async def scans(line: Line, carriers: list[str], until: float, seen: Seen) -> None:
    """Scan carriers and what is done with them: put away and taken out again."""
    codes = [code for code in carriers if is_code(code)][:: max(1, len(carriers) // 2000)]
    actions = (make_action_code("CLOSEFRESH"), make_action_code("OPEN"))
    for n in count():
        for text in (codes[n // 2 % len(codes)], actions[n % 2]):
            if time.perf_counter() > until:
                return
            sent = {"id": str(uuid4()), "station": f"Bench {n // 2 % 8}", "code": text,
                    "at": int(time.time())}  # fmt: skip
            status, _, body = await line.ask("POST", "/scan", body=json.dumps(sent).encode())
            if status != 200:
                seen.faults.append(f"{status} {body[:200]!r}")
            seen.scans += 1
            await asyncio.sleep(SCANS_EVERY_S)


def is_code(text: str) -> bool:
    """Return whether a scanner can read it: the load's codes have no check characters, some are
    right by chance."""
    try:
        return bool(read_code(text))
    except BadCode:
        return False


async def work(wanted: dict[str, Any]) -> Seen:
    """Do what is wanted."""
    port, places, carriers = wanted["port"], wanted["places"], wanted["carriers"]
    lines = [Line(port) for _ in range(wanted["screens"] + 2)]
    _, _, page = await lines[-1].ask("GET", "/scan")
    static = "/static/" + page.decode().split("/static/", 1)[1].split("/", 1)[0] + "/icon.svg"
    screens = [
        Screen(line, places[n % len(places)], wanted["way"], static)
        for n, line in enumerate(lines[:-2])
    ]
    for screen in screens:
        await screen.ask(Seen())
    print("warm", flush=True)
    seen, every_s = Seen(), wanted["every_s"]
    until = time.perf_counter() + wanted["seconds"]
    tasks = [
        screen.run(n * every_s / len(screens), every_s, until, seen)
        for n, screen in enumerate(screens)
    ]
    if carriers:
        tasks += [
            readings(lines[-1], places, until),
            scans(lines[-2], carriers, until, seen),
        ]
    await asyncio.gather(*tasks, asyncio.sleep(until - time.perf_counter()))
    print("done", flush=True)
    compared = Seen()
    for screen in screens:
        await screen.compare(compared)
    seen.faults += compared.faults
    seen.compared = compared.compared
    return seen


def main() -> None:
    """Read what is wanted, do it, and say what was seen."""
    seen = asyncio.run(work(json.loads(sys.stdin.read())))
    print(json.dumps(vars(seen)), flush=True)


if __name__ == "__main__":
    main()
