"""The air of every place, read when it is asked for and kept until its readings change."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from threading import Lock

from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.places import Places
from msdtrack.store import connection, places, reading_log
from msdtrack.store.records import PlaceRecord, ReadingVersion
from msdtrack.store.touched import TouchedReadings

_kept: dict[str, tuple[object, ReadingVersion, PlaceRecord, PlaceAir]] = {}
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
    """Bring kept air up to date with readings that the open transaction has written late or
    replaced, so that it need not be read again as a whole."""
    versions = reading_log.reading_versions()
    store = connection.generation()
    for place in {note.place for note in written}:
        notes = [note for note in written if note.place == place]
        with _lock:
            kept = _kept.get(place)
            if (
                kept is None
                or kept[0] is not store
                or kept[1].rewrites == versions[place].rewrites
                or kept[1].changes + len(notes) != versions[place].changes
            ):
                continue
            first, last = min(note.first for note in notes), max(note.last for note in notes)
            rows = _floor_rows(reading_log.readings(place, first, last))
            air = kept[3].changed(first, last, rows)
            _kept[place] = (store, versions[place], kept[2], air)


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

    def __getitem__(self, code: str) -> PlaceAir:
        if code not in self._mine:
            record = self._records[code]
            if self._known_at is None:
                self._mine[code] = _current(record, self._versions.get(code, _NONE))
            else:
                rows = _floor_rows(reading_log.readings(code, known_at=self._known_at))
                self._mine[code] = PlaceAir(code, rows, record.settings)
        return self._mine[code]


_NONE = ReadingVersion(0, 0)


def _current(record: PlaceRecord, version: ReadingVersion) -> PlaceAir:
    store, code = connection.generation(), record.code
    with _lock:
        kept = _kept.get(code)
        if kept is not None and kept[0] is store and kept[2].settings == record.settings:
            if kept[1] == version:
                return kept[3]
            if kept[1].rewrites == version.rewrites and kept[1].changes > version.changes:
                # Asked from an older snapshot: its moment leaves out the readings since.
                return kept[3]
            if kept[1].rewrites == version.rewrites and kept[3].readings:
                after = kept[3].readings[-1][0] + 1
                air = kept[3].extended(_floor_rows(reading_log.readings(code, start=after)))
                _kept[code] = (store, version, record, air)
                return air
        air = PlaceAir(code, _floor_rows(reading_log.readings(code)), record.settings)
        _kept[code] = (store, version, record, air)
        return air


def _floor_rows(rows: list[tuple[int, int, int | None]]) -> list[tuple[int, int, int]]:
    """Only an oven's readings may lack humidity, and an oven's are never floor air."""
    return [(at, temp, 0 if rh is None else rh) for at, temp, rh in rows]
