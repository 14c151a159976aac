"""Where the air has decided and decides about carriers: what a reading of a place concerns.

They are computed from the log and can be dropped and computed anew, as the standings are.
"""

from __future__ import annotations

from collections.abc import Sequence

from msdtrack.store.connection import writing
from msdtrack.store.statements import executemany, insert_all, listed, rows

Stay = tuple[str, int, int]
"""Place, start and end of a time outside a good bag; the end is FOREVER where it goes on."""


def stays() -> list[tuple[str, str, int, int]]:
    """Return every stay with its carrier, in order."""
    return rows("SELECT carrier, place, start_at, end_at FROM stay ORDER BY 1, 3, 4, 2")


def put(of: dict[str, Sequence[Stay]]) -> None:
    """Store the stays of carriers in place of the ones before."""
    writing(shows=False)
    condition, given = listed("carrier", of)
    sql = f"SELECT carrier, place, start_at, end_at FROM stay WHERE {condition}"
    before = set(rows(sql, given))
    now = dict.fromkeys((code, *stay) for code, stays in of.items() for stay in stays)
    ended, begun = list(before - now.keys()), [one for one in now if one not in before]
    if ended:
        executemany(
            "DELETE FROM stay WHERE carrier = ? AND place = ? AND start_at = ? AND end_at = ?",
            ended,
        )
    if begun:
        insert_all("stay", "carrier, place, start_at, end_at", begun)
