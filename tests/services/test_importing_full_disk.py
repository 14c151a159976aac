"""A file that comes in while the disk is full: SQLite undoes the lines before by itself."""

from __future__ import annotations

from pathlib import Path

import pytest

from msdtrack.services import catalog, importing
from msdtrack.store.connection import close_store, open_store
from msdtrack.store.errors import StoreUnavailable
from tests.store.samples import T0, full_disk


def test_it_is_no_fault_of_a_line_and_leaves_none_of_the_file(tmp_path: Path) -> None:
    """The lines after must not come in alone, and be undone by nothing."""
    open_store(f"sqlite:///{tmp_path / 'store.db'}")
    lines = "".join(f"BL-{n};3;{'x' * 150}\n" for n in range(200))
    with full_disk(), pytest.raises(StoreUnavailable):
        importing.import_parts(f"number;msl;description\n{lines}BL-201;3;\n", T0)
    assert catalog.parts() == []
    close_store()
