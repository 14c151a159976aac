"""Which carriers an alarm may be due for although nobody watches them: supersets, cheaply found.

What is true of a carrier the fold says; these queries only spare it those for which it is not.
"""

from __future__ import annotations

from datetime import date

from msdtrack.store.statements import rows

_ALIVE = (
    "(EXISTS (SELECT 1 FROM standing s WHERE s.carrier = old.code AND s.gone_at IS NULL) "
    "OR EXISTS (SELECT 1 FROM resting r WHERE r.carrier = old.code))"
)


def ageing(ends_by: date, sealed_by: date, closed_by: int) -> list[str]:
    """Return carriers whose shelf life may end by a day; the standings must be built.

    Args:
        ends_by: the day; ends stated at receipt count as they are.
        sealed_by: shelf lives without a stated end, sealed by then, may end by `ends_by`.
        closed_by: the same as a moment, for bags that were closed again.
    """
    # A split-off carrier has what was stated of its ancestor, corrections included.
    sql = (
        "WITH RECURSIVE old(code) AS ("
        "SELECT code FROM carrier WHERE shelf_life_ends <= ? "
        "OR (shelf_life_ends IS NULL AND sealed_on <= ?) "
        "UNION SELECT c.code FROM carrier c JOIN old ON c.parent = old.code) "
        f"SELECT code FROM old WHERE {_ALIVE} "
        "UNION SELECT s.carrier FROM standing s JOIN event e ON e.carrier = s.carrier "
        "WHERE s.gone_at IS NULL AND e.kind = 'close' AND e.at <= ?"
    )
    parameters = (ends_by.isoformat(), sealed_by.isoformat(), closed_by)
    return [row[0] for row in rows(sql, parameters)]


def drawn_anew(since: int) -> list[str]:
    """Return carriers that are off the watch list and whose standing was drawn from `since` on: a
    reset by dry storage ends a line."""
    sql = "SELECT carrier FROM standing WHERE listed = ? AND gone_at IS NULL AND since >= ?"
    return [row[0] for row in rows(sql, (0, since))]
