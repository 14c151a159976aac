"""Board batches and the placements on them. What happens to a batch is on its placements' logs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import astuple, dataclass

from msdtrack.errors import NotFound
from msdtrack.store.connection import writing
from msdtrack.store.statements import insert_all, listed, rows

_COLUMNS = "code, name, boards, place, person, recorded_at"


@dataclass(frozen=True, slots=True)
class BatchRecord:
    """A batch of boards as it was put on file.

    Args:
        boards: how many circuit boards are in it.
        place: code of the place it began at; None is unknown.
        recorded_at: when it was put on file, seconds UTC.
    """

    code: str
    name: str
    boards: int
    place: str | None
    person: str | None
    recorded_at: int


def insert_batch(record: BatchRecord) -> None:
    """Store a new batch.

    Raises:
        Conflict: its code is taken, or its place does not exist.
    """
    writing()
    insert_all("board_batch", _COLUMNS, [astuple(record)])


def insert_placement(carrier: str, batch: str) -> None:
    """Store that a carrier's record is a placement on a batch.

    Raises:
        Conflict: it is a placement already, or there is no such carrier or batch.
    """
    writing()
    insert_all("board_placement", "carrier, batch", [(carrier, batch)])


def batch(code: str) -> BatchRecord:
    """Return a batch.

    Raises:
        NotFound: there is no such batch.
    """
    found = batches_by_code([code])
    if not found:
        raise NotFound(f"There is no board batch {code}.")
    return found[code]


def batches_by_code(codes: Iterable[str]) -> dict[str, BatchRecord]:
    """Return the batches that exist among the codes, in one query."""
    condition, given = listed("code", codes)
    sql = f"SELECT {_COLUMNS} FROM board_batch WHERE {condition}"
    return {row[0]: BatchRecord(*row) for row in rows(sql, given)}


def batches(after: str | None = None, limit: int = 100) -> list[BatchRecord]:
    """Return batches by code, those after `after` only."""
    sql = f"SELECT {_COLUMNS} FROM board_batch WHERE code > ? ORDER BY code LIMIT ?"
    return [BatchRecord(*row) for row in rows(sql, (after or "", limit))]


def newest_batches(limit: int) -> list[BatchRecord]:
    """Return the batches put on file last, newest first."""
    sql = f"SELECT {_COLUMNS} FROM board_batch ORDER BY recorded_at DESC, code DESC LIMIT ?"
    return [BatchRecord(*row) for row in rows(sql, (limit,))]


def perhaps_unfinished(now: int, place: str | None = None) -> list[str]:
    """Return the batches with a placement that is not gone for good by its standing, in order: all
    that face another reflow are among them if the standings are built.

    Args:
        now: the present moment.
        place: only those that are there, or may be there by now; None is everywhere.
    """
    # The order of the join is the written one: few lie at a place, and of what was ever placed on
    # boards only what is still at work has a standing.
    if place is None:
        sql = (
            "SELECT DISTINCT b.batch FROM board_placement b CROSS JOIN standing s "
            "WHERE s.carrier = b.carrier AND (s.gone_at IS NULL OR s.until <= ?) ORDER BY 1"
        )
        return [row[0] for row in rows(sql, (now,))]
    sql = (
        "SELECT DISTINCT b.batch FROM standing s CROSS JOIN board_placement b "
        "WHERE b.carrier = s.carrier AND (s.gone_at IS NULL OR s.until <= ?) "
        "AND (s.place = ? OR s.moves_at <= ?) ORDER BY 1"
    )
    return [row[0] for row in rows(sql, (now, place, now))]


def all_with_placements() -> list[str]:
    """Return the batches that anything was ever placed on, in order."""
    return [row[0] for row in rows("SELECT DISTINCT batch FROM board_placement ORDER BY 1")]


def placements(code: str) -> list[str]:
    """Return the codes of the placements on a batch, in order."""
    return placements_of([code])[code]


def placements_of(codes: Iterable[str]) -> dict[str, list[str]]:
    """Return the codes of the placements on each batch, in order, in one query."""
    found: dict[str, list[str]] = {code: [] for code in codes}
    condition, given = listed("batch", found)
    sql = f"SELECT batch, carrier FROM board_placement WHERE {condition} ORDER BY carrier"
    for code, carrier in rows(sql, given):
        found[code].append(carrier)
    return found


def batch_of(carrier: str) -> str | None:
    """Return the code of the batch a placement is on; None for every other carrier."""
    return batches_of([carrier]).get(carrier)


def batches_of(carriers: Iterable[str]) -> dict[str, str]:
    """Return the batch of each placement among the carriers, in one query."""
    condition, given = listed("carrier", carriers)
    return dict(rows(f"SELECT carrier, batch FROM board_placement WHERE {condition}", given))
