"""Who does a job that only one process may do, and up to when it has been done."""

from __future__ import annotations

from msdtrack.store.connection import writing
from msdtrack.store.records import LeaseRecord
from msdtrack.store.statements import execute, rows


def take_lease(name: str, holder: str, now: int, ttl_s: int) -> bool:
    """Take or renew a lease and return whether the holder has it.

    Args:
        name: of the job.
        holder: of the process, its own name for as long as it runs.
        now: the present moment.
        ttl_s: how long it is held without renewal, seconds.
    """
    writing(shows=False)
    held = lease(name)
    # A lease that ends this far ahead was taken by a clock that has been put back since.
    held_by_other = held is not None and held.holder != holder and now < held.until
    if held is not None and held_by_other and held.until <= now + 2 * ttl_s:
        return False
    execute(
        "INSERT INTO lease (name, holder, until) VALUES (?, ?, ?) "
        "ON CONFLICT (name) DO UPDATE SET holder = excluded.holder, until = excluded.until",
        (name, holder, now + ttl_s),
    )
    return True


def release_lease(name: str, holder: str) -> None:
    """Give a lease back, if the holder has it, for another process to take at once."""
    writing(shows=False)
    execute("DELETE FROM lease WHERE name = ? AND holder = ?", (name, holder))


def lease(name: str) -> LeaseRecord | None:
    """Return the lease as last taken, which may have run out; None if it is free."""
    found = rows("SELECT name, holder, until FROM lease WHERE name = ?", (name,))
    return LeaseRecord(*found[0]) if found else None


def watermark(name: str) -> int | None:
    """Return up to which moment a job has been done; None if never."""
    found = rows("SELECT at FROM watermark WHERE name = ?", (name,))
    return int(found[0][0]) if found else None


def set_watermark(name: str, at: int) -> None:
    """Note up to which moment a job has been done."""
    writing(shows=False)
    execute(
        "INSERT INTO watermark (name, at) VALUES (?, ?) "
        "ON CONFLICT (name) DO UPDATE SET at = excluded.at",
        (name, at),
    )
