"""What the database itself can do to a person."""

from __future__ import annotations

from msdtrack.errors import MsdtrackError


class StoreUnavailable(MsdtrackError):
    """The database does not answer, is full, is busy for too long, or is not ours to use."""

    code = "store_unavailable"
