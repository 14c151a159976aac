"""The air of every place: days are read when they are asked about, and kept until their readings
change."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from threading import Lock

from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.facts import AirSettings, Dated
from msdtrack.exposure.places import Places
from msdtrack.exposure.readings import DAY_S, Day, Days
from msdtrack.store import connection, places, reading_log
from msdtrack.store.records import PlaceRecord, ReadingVersion
from msdtrack.store.touched import TouchedReadings


@dataclass(frozen=True, slots=True)
class _Kept:
    """Air with what it was read from."""

    store: object
    version: ReadingVersion
    settings: Dated[AirSettings]
    air: PlaceAir


_kept: dict[str, _Kept] = {}
_lock = Lock()


def all_places(known_at: int | None = None) -> Places:
    """Return every place with its air.

    Args:
        known_at: only what had been received by then; None is everything.
    """
    records = {record.code: record for record in places.places(limit=100_000, known_at=known_at)}
    kinds = {code: record.kind for code, record in records.items()}
    return Places(_Airs(records, known_at), kinds)


def take_in(written: Sequence[TouchedReadings]) -> None:
    """Bring kept air up to date with readings that the open transaction has written, so that only
    their days are read again."""
    if not written:
        return
    versions = reading_log.reading_versions()
    for place in {note.place for note in written}:
        notes = [note for note in written if note.place == place]
        with _lock:
            kept, version = _kept.get(place), versions[place]
            if (
                kept is not None
                and kept.store is connection.generation()
                and kept.version.changes + len(notes) == version.changes
            ):
                first, last = min(note.first for note in notes), max(note.last for note in notes)
                _kept[place] = _renewed(place, kept, version, first, last)


class _Airs(Mapping[str, PlaceAir]):
    def __init__(self, records: Mapping[str, PlaceRecord], known_at: int | None) -> None:
        self._records = records
        self._known_at = known_at
        self._mine: dict[str, PlaceAir] = {}
        self._versions = {} if known_at is not None else reading_log.reading_versions()

    def __len__(self) -> int:
        return len(self._records)

    def __iter__(self) -> Iterator[str]:
        return iter(self._records)

    def __contains__(self, code: object) -> bool:
        return code in self._records

    def __getitem__(self, code: str) -> PlaceAir:
        if code not in self._mine:
            record = self._records[code]
            if self._known_at is None:
                version = self._versions.get(code, ReadingVersion())
                self._mine[code] = _current(code, version, record.settings)
            else:
                days = Days(reading_log.days(code, self._known_at), _past(code, self._known_at))
                self._mine[code] = PlaceAir(code, days, record.settings)
        return self._mine[code]


def _current(code: str, version: ReadingVersion, settings: Dated[AirSettings]) -> PlaceAir:
    with _lock:
        kept = _kept.get(code)
        if kept is not None and (kept.store, kept.settings) == (connection.generation(), settings):
            if kept.version == version:
                return kept.air
            newest = kept.air.days.numbers[-1:]
            if kept.version.changes > version.changes:
                # Asked from an older snapshot, which must not be mixed with newer days.
                return PlaceAir(code, Days(reading_log.days(code), _present(code, None)), settings)
            if kept.version.rewrites == version.rewrites and newest:
                _kept[code] = _renewed(code, kept, version, newest[0] * DAY_S, 1 << 60)
                return _kept[code].air
        days = Days(reading_log.days(code), _present(code, version))
        _kept[code] = _Kept(
            connection.generation(), version, settings, PlaceAir(code, days, settings)
        )
        return _kept[code].air


def _renewed(code: str, kept: _Kept, version: ReadingVersion, first: int, last: int) -> _Kept:
    numbers = reading_log.days(code)
    days = kept.air.days.renewed(numbers, _present(code, version), first, last)
    return _Kept(kept.store, version, kept.settings, PlaceAir(code, days, kept.settings))


def _present(code: str, version: ReadingVersion | None) -> Callable[[int], tuple[Day, bool]]:
    """Return what reads a day, to be kept if the readings are still of this version."""

    def read(number: int) -> tuple[Day, bool]:
        day = _day(code, number, None)
        return day, version is None or reading_log.reading_version(code) == version

    return read


def _past(code: str, known_at: int) -> Callable[[int], tuple[Day, bool]]:
    return lambda number: (_day(code, number, known_at), True)


def _day(code: str, number: int, known_at: int | None) -> Day:
    start, end = number * DAY_S, number * DAY_S + DAY_S - 1
    if known_at is not None:
        return Day(reading_log.readings(code, start, end, known_at))
    return Day.of_columns(reading_log.columns(code, start, end))
