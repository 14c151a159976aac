"""An open store on each kind of database."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from msdtrack.store.connection import close_store, open_store


@pytest.fixture
def store(database_url: str) -> Iterator[str]:
    """An open, empty store; the URL of its database."""
    open_store(database_url)
    yield database_url
    close_store()
