"""Lets go of the database before another process is forked from this one."""

from __future__ import annotations

from msdtrack.store.connection import in_transaction, opened


def let_go() -> None:
    """Close every connection; the next statement opens one. What was read from the store still
    holds.

    A connection must never be used, nor even closed, in another process than it was opened in: the
    locks of SQLite and the messages of PostgreSQL would get mixed up. One who forks has none.

    Raises:
        RuntimeError: it was called inside a transaction.
        StoreUnavailable: no store is open.
    """
    if in_transaction():
        raise RuntimeError("inside a transaction, its connection is needed")
    database = opened()
    database.close()
    database.register.close_all()
