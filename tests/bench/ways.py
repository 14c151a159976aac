"""Other ways to the same shares: a query and a loop for each carrier, and numpy slices."""

from __future__ import annotations

import json
from bisect import bisect_left, bisect_right
from collections import Counter
from fractions import Fraction
from itertools import groupby
from typing import Any

import numpy as np

from msdtrack.exposure.facts import AirSettings, PartFacts
from msdtrack.exposure.rates import rate
from msdtrack.exposure.spans import AirKey
from msdtrack.standard import derating
from tests.bench.reference_load import NOW, PARTS

TOLERANCE = AirSettings()
PART = {part.number: part for part in PARTS}


def key_of(temp: int, rh: int) -> AirKey:
    """Return the key of measured air in hundredths."""
    cell = derating.cell_for(temp + TOLERANCE.tolerance_temp_c100, rh + TOLERANCE.tolerance_rh_c100)
    return AirKey(cell, temp <= 3000 and rh <= 6000, None)


def standing(log: list[Any]) -> list[tuple[str, int, str | None]]:
    """Return (kind, at, place) of a carrier's events by moment, with their corrections."""
    found: dict[str, tuple[str, int, str | None]] = {}
    for id_, kind, at, place, payload in log:
        if kind == "correct":
            fix = json.loads(payload)
            before = found[fix["corrects"]]
            found[fix["corrects"]] = (before[0], fix["fields"]["at"], before[2])
        else:
            found[id_] = (kind, at, place)
    return sorted(found.values(), key=lambda event: event[1])


class Naive:
    """Each carrier on its own: its events, then the readings of each exposure, in a loop.

    It knows only what the load has: bags that are good, measured air, levels that pause.
    """

    def __init__(self, database: Any, mark: str = "?") -> None:
        self._database, self._mark = database, mark

    def _rows(self, sql: str, *given: object) -> list[Any]:
        return list(self._database.execute(sql.replace("?", self._mark), given).fetchall())

    def used(self, code: str) -> Fraction:
        """Return the exact share used at NOW."""
        (number,) = self._rows("SELECT part FROM carrier WHERE code = ?", code)[0]
        events = self._standing(code)
        seconds: Counter[AirKey] = Counter()
        opened = place = None
        for kind, at, where in [*events, ("close", NOW, None)]:
            if kind == "open":
                opened, place = at, where
            elif opened is not None:
                self._expose(seconds, str(place), opened, at)
                opened = None
        part = PART[number]
        return sum((rate(part, key, False) * s for key, s in seconds.items()), Fraction(0))

    def _standing(self, code: str) -> list[tuple[str, int, str | None]]:
        sql = "SELECT id, kind, at, place, payload FROM event WHERE carrier = ? ORDER BY seq"
        return standing(self._rows(sql, code))

    def _expose(self, seconds: Counter[AirKey], place: str, start: int, end: int) -> None:
        readings = self._rows(
            "SELECT second, temp_c100, rh_c100 FROM reading WHERE place_id = "
            "(SELECT id FROM place WHERE code = ?) AND second > ? AND second < ? ORDER BY second",
            place, start - 1800, end + 1800,
        )  # fmt: skip
        for (at, temp, rh), (after, temp_after, rh_after) in zip(
            readings, [*readings[1:], (readings[-1][0] + 1800, 0, 0)], strict=True
        ):
            s, e = max(at, start), min(after, end)
            if s < e:
                seconds[key_of(max(temp, temp_after), max(rh, rh_after))] += e - s


class Slices:
    """Readings as numpy arrays in memory, a slice for each exposure; in floating point."""

    def __init__(self, database: Any) -> None:
        self._places = {}
        lookup: dict[tuple[int, int], AirKey] = {}
        for code, id_ in database.execute("SELECT code, id FROM place").fetchall():
            sql = (
                "SELECT second, temp_c100, rh_c100 FROM reading "
                f"WHERE place_id = {int(id_)} ORDER BY second"
            )
            rows = np.array(database.execute(sql).fetchall(), dtype=np.int64)
            after = np.vstack([rows[1:], rows[-1:]])
            temps = np.maximum(rows[:, 1], after[:, 1])
            rhs = np.maximum(rows[:, 2], after[:, 2])
            rates = {}
            for part in PARTS:
                for pair in set(zip(temps.tolist(), rhs.tolist(), strict=True)) - lookup.keys():
                    lookup[pair] = key_of(*pair)
                table = {pair: float(rate(part, key, False)) for pair, key in lookup.items()}
                pairs = zip(temps.tolist(), rhs.tolist(), strict=True)
                rates[part.number] = np.array([table[pair] for pair in pairs])
            self._places[code] = (rows[:, 0].copy(), rates)
        self._exposures: dict[str, tuple[str, list[tuple[str, int, int]]]] = {}
        self._read(database)

    def _read(self, database: Any) -> None:
        """Read the exposures of every carrier that is out."""
        parts = dict(database.execute("SELECT code, part FROM carrier").fetchall())
        sql = "SELECT carrier, id, kind, at, place, payload FROM event ORDER BY carrier, seq"
        for code, log in groupby(database.execute(sql), key=lambda row: row[0]):
            exposures: list[tuple[str, int, int]] = []
            opened: tuple[str, int] | None = None
            for kind, at, place in standing([row[1:] for row in log]):
                if kind == "open":
                    opened = str(place), at
                elif opened is not None:
                    exposures.append((*opened, at))
                    opened = None
            if opened is not None:
                self._exposures[code] = parts[code], [*exposures, (*opened, NOW)]

    def used(self) -> dict[str, float]:
        """Return the share used at NOW of every carrier that is out."""
        return {code: self._used(PART[part], of) for code, (part, of) in self._exposures.items()}

    def _used(self, part: PartFacts, exposures: list[tuple[str, int, int]]) -> float:
        total = 0.0
        for place, start, end in exposures:
            moments, rates = self._places[place]
            first = bisect_right(moments, start) - 1
            last = bisect_left(moments, end)
            edges = np.clip(np.append(moments[first:last], end), start, end)
            total += float(np.dot(np.diff(edges), rates[part.number][first:last]))
        return total
