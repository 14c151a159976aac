"""A policy of the calculation has drawn anew what it may change, and only that."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from uuid import uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from msdtrack.exposure.facts import PartFacts
from msdtrack.services import catalog, event_recording, policies, receiving, standings
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.receiving import NewCarrier
from msdtrack.store import carriers
from msdtrack.store import standings as table
from msdtrack.store.connection import write
from tests.services.conftest import NOW
from tests.services.floor import DRY, HOUR, Floor
from tests.services.test_standings import (
    RANDOM,
    check,
    copy_of,
    empty,
    random_history_of,
)

__all__ = ["empty"]


class ChoosingFloor(Floor):
    """A factory that changes its mind often, with labels that say otherwise than their part."""

    def step(self) -> None:
        if self.one(True, False, False):
            self._policy()
        else:
            super().step()

    def _receive(self) -> str:
        code = super()._receive()
        level = self.one(None, None, "3", "4", "5a")
        if level is not None:
            with write():
                carriers.update_carrier(code, {"msl": level}, reason="label", recorded_at=self.now)
        return code


@settings(RANDOM, max_examples=60)
@given(data=st.data())
def test_any_history_with_many_policies_gives_the_same_list(
    empty: Path,
    data: st.DataObject,
) -> None:
    with copy_of(empty):
        random_history_of(ChoosingFloor(data.draw), data, 15)


@pytest.mark.parametrize(
    ("name", "concerned"),
    [("credit", {"confirmed"}), ("pause_levels_4_to_5a", {"level 4", "own label", "split off"})],
)
def test_only_what_a_policy_may_change_is_drawn_anew(
    shop: dict[str, str], name: str, concerned: set[str]
) -> None:
    """Ten thousand carriers would take many seconds, and most parts have no confirmed compound."""
    catalog.create_part(PartFacts("BL-4", "4", body_mm=1.4), NOW)
    catalog.create_part(PartFacts("BL-3C", "3", body_mm=1.4, compound_confirmed=True), NOW)
    plain = NewCarrier(
        "BL-0101", "L-1", 500, "reel", sealed_on=date(2026, 6, 1), place=shop["Bench"],
        received_at=NOW - 7 * 24 * HOUR,
    )  # fmt: skip
    received = {
        "plain": plain,
        "giver": plain,
        "confirmed": replace(plain, part="BL-3C"),
        "level 4": replace(plain, part="BL-4"),
        "own label": replace(plain, msl="4"),
    }
    codes = {what: receiving.receive(new, NOW - HOUR)[0].code for what, new in received.items()}
    for code in codes.values():
        opening = NewEvent(str(uuid4()), code, "open", at=NOW - HOUR, hic=DRY)
        event_recording.record([opening], NOW - HOUR)
    splitting = NewEvent(str(uuid4()), codes["giver"], "split", at=NOW - HOUR + 60, quantity=10)
    (split,) = event_recording.record([splitting], NOW - HOUR + 60)
    assert split.child is not None
    codes["split off"] = split.child
    standings.rebuild(NOW)
    policies.set_policy(name, True, NOW + 60, "Ines", "agreed")
    since = {one.carrier: one.since for one in table.standings()}
    assert {what for what, code in codes.items() if since[code] == NOW + 60} == concerned
    check(NOW + 60, list(shop.values()))
