"""The steps from an empty database to the newest tables, and the runner that takes them.

A step never imports the models: it holds its tables as they were when it was written.
"""

from __future__ import annotations

from msdtrack.store.migrations import m0001_initial
from msdtrack.store.migrations.runner import Migration, migrate, schema_version

ALL = (Migration(1, "initial", m0001_initial.up),)
"""Every migration, by version."""

__all__ = ["ALL", "Migration", "migrate", "schema_version"]
