"""The steps from an empty database to the newest tables, and the runner that takes them.

A step never imports the models: it holds its tables as they were when it was written.
"""

from __future__ import annotations

from msdtrack.store.migrations import (
    m0001_initial,
    m0002_standings,
    m0003_goods_in,
    m0004_boards,
    m0005_sample_checks,
    m0006_counts,
    m0007_alarm_shelving,
    m0008_reading_receipt,
    m0009_screens,
    m0010_pieces,
    m0011_one_glance,
    m0012_narrow_indexes,
    m0013_resting,
    m0014_people_retired,
)
from msdtrack.store.migrations.runner import Migration, migrate, schema_version

ALL = (
    Migration(1, "initial", m0001_initial.up),
    Migration(2, "standings", m0002_standings.up),
    Migration(3, "goods in", m0003_goods_in.up),
    Migration(4, "boards", m0004_boards.up),
    Migration(5, "sample checks", m0005_sample_checks.up),
    Migration(6, "counts", m0006_counts.up),
    Migration(7, "alarm shelving", m0007_alarm_shelving.up),
    Migration(8, "reading receipt", m0008_reading_receipt.up),
    Migration(9, "screens", m0009_screens.up),
    Migration(10, "pieces", m0010_pieces.up),
    Migration(11, "one glance", m0011_one_glance.up),
    Migration(12, "narrow indexes", m0012_narrow_indexes.up),
    Migration(13, "resting", m0013_resting.up),
    Migration(14, "people retired", m0014_people_retired.up),
)
"""Every migration, by version."""

__all__ = ["ALL", "Migration", "migrate", "schema_version"]
