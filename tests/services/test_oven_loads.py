"""Loads of an oven: one bake that dries all, or a split; started, followed and ended."""

from __future__ import annotations

from uuid import uuid4

import pytest

from msdtrack.errors import NotFound, Refused
from msdtrack.exposure.facts import MakerBake, PartFacts
from msdtrack.services import catalog, climate, event_recording, labelling, oven_loads, policies
from msdtrack.services.carrier_states import state
from msdtrack.services.climate import NewReading
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.oven_loads import draft, end, oven_now, start
from tests.services.conftest import NOW, receive

HOUR, MIN = 3600, 60
DRY = {"5": "dry", "10": "dry", "60": "dry"}

PARTS = (
    PartFacts("WB-3", "3", body_mm=1.4, carrier_max_c=140),
    PartFacts("WB-5A", "5a", body_mm=2.0, carrier_max_c=140),
    PartFacts("WB-REEL", "3", body_mm=1.4),
    PartFacts("WB-SOFT", "3", body_mm=1.4, carrier_max_c=140, max_bake_c=100),
    PartFacts("WB-OWN", "4", body_mm=1.0, carrier_max_c=140, maker_bake=MakerBake(125, 4)),
    PartFacts("WB-THICK", "3", body_mm=5.0, carrier_max_c=140),
)


@pytest.fixture
def floor(shop: dict[str, str]) -> dict[str, str]:
    """Parts that stand different heats, and an oven for 150 °C with dry air."""
    for part in PARTS:
        catalog.create_part(part, NOW)
    new = catalog.NewPlace(name="Dry oven", kind="oven", max_temp_c=150, max_rh_pct=5)
    return shop | {"Dry oven": catalog.create_place(new, NOW)[0].code}


def record(code: str, kind: str, at: int = NOW, now: int = NOW, **what: object) -> None:
    event_recording.record([NewEvent(str(uuid4()), code, kind, at, **what)], now)  # type: ignore[arg-type]


def out(part: str, hours: float, floor: dict[str, str]) -> str:
    """Receive a carrier and open it so many hours ago."""
    code = receive(floor["Bench"], part=part, kind="tray").code
    record(code, "open", NOW - round(hours * HOUR), hic=DRY)
    return code


def running(floor: dict[str, str], hours_ago: float, part: str = "WB-3") -> str:
    """Return a carrier whose bake of 8 or 9 h began so long ago, its floor life just used up."""
    code = out(part, 170 + hours_ago, floor)
    record(code, "bake_start", NOW - round(hours_ago * HOUR), place=floor["Dry oven"], temp_c=125.0)
    return code


def oven_reads(floor: dict[str, str], spells: list[tuple[float, float, float]]) -> None:
    """Let the oven read temperatures: from, to (hours before now), °C; every five minutes."""
    rows = []
    for start_h, end_h, temp_c in spells:
        for at in range(NOW - round(start_h * HOUR), NOW - round(end_h * HOUR) + 1, 5 * MIN):
            rows.append(NewReading(floor["Dry oven"], at, temp_c, None))
    result = climate.add_readings(rows, NOW)
    assert not result.refused


# -- put together ------------------------------------------------------------------------------


def test_one_bake_dries_all_with_the_hours_of_the_slowest(floor: dict[str, str]) -> None:
    """Floor life exceeded by up to 72 h, at 125 °C: level 3, 1.4 mm: 7 h; level 5a, 2.0 mm: 40 h.

    Source: J-STD-033 (B.1 to D), Table 4-1, from memory.
    """
    codes = [out("WB-3", 170, floor), out("WB-5A", 30, floor)]
    found = draft(floor["Dry oven"], codes, NOW)
    alone = [draft(floor["Dry oven"], [code], NOW).bakes[0] for code in codes]
    assert [bake.temp_c for bake in found.bakes] == [125, 90, 40]
    assert [bake.hours for bake in alone] == [7, 40]
    assert found.bakes[0].hours == 40
    assert found.bakes[0].codes == tuple(codes)
    assert found.bakes[1].max_rh_pct == 5
    assert not found.plan.groups


def test_what_would_melt_is_refused_and_split(floor: dict[str, str]) -> None:
    """A reel that stands 40 °C and a tray that needs 125: 40 °C dries both, in days.

    Once its hours above 90 °C forbid nothing, the cold bake is offered; with an oven that does not
    reach dry air, the reel can't go in at all.
    """
    tray, reel = out("WB-3", 170, floor), out("WB-REEL", 170, floor)
    both = draft(floor["Dry oven"], [tray, reel], NOW)
    assert [bake.temp_c for bake in both.bakes] == [40]
    damp = draft(floor["Oven"], [tray, reel], NOW)
    assert damp.bakes == ()
    assert [code for code, _ in damp.plan.refused] == [reel]
    assert "stands 40 °C at most" in damp.plan.refused[0][1]
    with pytest.raises(Refused, match="stands 40 °C at most"):
        start(floor["Oven"], [tray, reel], 125, "a", NOW)
    assert state(tray, NOW).status == "exposed"


def test_a_makers_own_bake_is_neither_shortened_nor_lengthened(floor: dict[str, str]) -> None:
    """4 h at 125 °C by the maker and a tray that needs more: two loads are proposed."""
    own, slow, soft = out("WB-OWN", 100, floor), out("WB-5A", 30, floor), out("WB-SOFT", 170, floor)
    found = draft(floor["Dry oven"], [own, slow], NOW)
    assert found.bakes == ()
    assert [(group.temp_c, group.codes) for group in found.plan.groups] == [
        (125, (own,)),
        (125, (slow,)),
    ]
    assert found.plan.groups[0].hours == 4
    whys = dict(found.plan.against[0].whys)
    assert whys == {own: "Its maker gives 4 h at 125 °C, the others need 40."}
    with pytest.raises(Refused, match="No single bake dries all"):
        start(floor["Dry oven"], [own, slow], 125, "a", NOW)
    three = draft(floor["Dry oven"], [own, slow, soft], NOW)
    assert sorted(code for group in three.plan.groups for code in group.codes) == sorted(
        [own, slow, soft]
    )


def test_what_has_no_figure_is_for_its_maker(floor: dict[str, str]) -> None:
    """Thicker than 4.5 mm, or level 1: the reason is named."""
    thick = out("WB-THICK", 170, floor)
    found = draft(floor["Dry oven"], [thick], NOW)
    assert dict(found.plan.refused)[thick].startswith("Thicker than 4.5 mm")


def test_hours_above_90_are_summed_for_the_whole_load(floor: dict[str, str]) -> None:
    """With 8 of 45 h done, a tray that needs 7 may not stay for the load's 40."""
    policies.set_policy("cumulative_bake_h", 45, NOW - 400 * HOUR, "Ines", "thin finish")
    baked, slow = out("WB-3", 170, floor), out("WB-5A", 30, floor)
    assert draft(floor["Dry oven"], [baked, slow], NOW).bakes[0].hours == 40
    record(baked, "bake_start", NOW - 30 * HOUR, place=floor["Oven"], temp_c=125.0)
    record(baked, "bake_end", NOW - 22 * HOUR, place=floor["Bench"])
    assert draft(floor["Dry oven"], [baked], NOW).bakes[0].temp_c == 125
    found = draft(floor["Dry oven"], [baked, slow], NOW)
    assert [bake.temp_c for bake in found.bakes] == [90, 40]


@pytest.mark.parametrize(
    ("what", "why"),
    [
        ("closed", "closed dry bag"),
        ("held", "on hold"),
        ("gone", "used up"),
        ("baking", "baking in this oven"),
    ],
)
def test_what_is_in_the_way_is_named_with_what_to_do(
    what: str, why: str, floor: dict[str, str]
) -> None:
    """Nothing of the load starts while one of it can't go in."""
    code = receive(floor["Bench"], part="WB-3", kind="tray").code
    if what != "closed":
        record(code, "open", NOW - 170 * HOUR, hic=DRY)
    if what == "held":
        record(code, "hold", reason="sample failed")
    elif what == "gone":
        record(code, "scrap")
    elif what == "baking":
        record(code, "bake_start", NOW - HOUR, place=floor["Dry oven"], temp_c=125.0)
    good = out("WB-3", 170, floor)
    found = draft(floor["Dry oven"], [good, code], NOW)
    assert [one.code for one in found.blocked] == [code]
    assert why in found.blocked[0].why
    assert found.bakes == ()
    with pytest.raises(Refused, match=code):
        start(floor["Dry oven"], [good, code], 125, "a", NOW)
    assert state(good, NOW).status == "exposed"


def test_a_running_oven_has_one_temperature(floor: dict[str, str]) -> None:
    """What goes in beside a bake at 125 °C must stand that."""
    running(floor, 1)
    soft, other = out("WB-SOFT", 170, floor), out("WB-3", 170, floor)
    found = draft(floor["Dry oven"], [soft, other], NOW)
    assert dict(found.plan.refused)[soft].startswith("The oven runs at 125 °C.")
    assert [bake.temp_c for bake in draft(floor["Dry oven"], [other], NOW).bakes] == [125]


def test_what_needs_no_bake_is_said(floor: dict[str, str]) -> None:
    """It may go in, and each bake costs solderability."""
    fresh = out("WB-3", 1, floor)
    assert draft(floor["Dry oven"], [fresh], NOW).needless == (fresh,)


# -- started and ended ---------------------------------------------------------------------------


def test_a_load_starts_whole_and_once(floor: dict[str, str]) -> None:
    """All get the same start; the same request again changes nothing."""
    codes = [out("WB-3", 170, floor), out("WB-5A", 30, floor)]
    for _ in range(2):
        now = start(floor["Dry oven"], codes, 125, "load-1", NOW, "Ines")
    (load,) = now.loads
    assert [one.state.facts.code for one in load.carriers] == sorted(codes)
    assert (load.started_at, load.temp_c) == (NOW, 125)
    assert all(state(code, NOW).ledger.bakes == 1 for code in codes)
    with pytest.raises(Refused, match="Not at 70 °C"):
        start(floor["Dry oven"], [out("WB-3", 170, floor)], 70, "load-2", NOW)


def test_only_an_oven_bakes(floor: dict[str, str]) -> None:
    """A cabinet is no oven, and an unknown carrier is no carrier."""
    with pytest.raises(NotFound, match="is no oven"):
        oven_now(floor["Cabinet"], NOW)
    with pytest.raises(NotFound, match="no carrier"):
        draft(floor["Dry oven"], ["C000999X"], NOW)


def test_without_readings_the_stated_hours_count(floor: dict[str, str]) -> None:
    """Assumed from start to end, and the end is told."""
    code = running(floor, 3)
    (one,) = oven_now(floor["Dry oven"], NOW).baking
    need_s = one.needed_s
    assert need_s is not None
    assert one.progress.basis == "assumed"
    assert one.standing == "running"
    assert one.progress.done_s == 3 * HOUR
    assert one.ends_at == NOW - 3 * HOUR + need_s
    assert one.state.facts.code == code


def test_an_interruption_is_added(floor: dict[str, str]) -> None:
    """An hour of open door in four: three hours count, and the end is an hour later.

    Source: J-STD-033 (B.1), clause 4.2.7: interruptions of more than 15 minutes are added.
    """
    running(floor, 4)
    oven_reads(floor, [(4, 3, 127.0), (2.9, 2.1, 60.0), (2, 0, 127.0)])
    (one,) = oven_now(floor["Dry oven"], NOW).baking
    assert one.progress.done_s + one.added_s == 4 * HOUR
    assert 50 * MIN <= one.added_s <= 70 * MIN
    assert one.ends_at == NOW + (one.needed_s or 0) - one.progress.done_s


def test_an_oven_that_went_cold_does_not_count(floor: dict[str, str]) -> None:
    """Nobody can say when it will be complete."""
    running(floor, 4)
    oven_reads(floor, [(4, 1, 127.0), (0.9, 0, 60.0)])
    (one,) = oven_now(floor["Dry oven"], NOW).baking
    assert (one.standing, one.ends_at) == ("not_counting", None)


def test_done_then_overdue_by_the_sites_policy(floor: dict[str, str]) -> None:
    """An hour after its end by default; the site may say otherwise."""
    running(floor, 10)
    (one,) = oven_now(floor["Dry oven"], NOW).baking
    assert one.ends_at is not None
    late = NOW - one.ends_at
    assert late > HOUR
    assert one.standing == "overdue"
    policies.set_policy("bake_overdue_min", late // 60 + 1, NOW, "Ines", "nights")
    assert oven_now(floor["Dry oven"], NOW).baking[0].standing == "done"


def test_a_complete_bake_ends_and_its_label_says_so(floor: dict[str, str]) -> None:
    """Floor life whole, and the new label's bake line has the day of the bake.

    The day is the one of the completion, in UTC.
    """
    code = running(floor, 10)
    after = end(floor["Dry oven"], [code], "out-1", NOW, floor["Bench"], person="Ines")
    again = end(floor["Dry oven"], [code], "out-1", NOW, floor["Bench"], person="Ines")
    assert after[code].used_share == again[code].used_share == 0
    assert after[code].ledger.place == floor["Bench"]
    line = labelling.bake_line(after[code])
    assert line == "baked 2026-09-21, floor life whole"
    assert labelling.labels_pdf([code], "62x29", NOW)
    later = state(code, NOW + HOUR)
    assert later.used_share > 0
    assert "baked" not in (labelling.bake_line(later) or "")


def test_an_early_end_must_be_confirmed_and_resets_nothing(floor: dict[str, str]) -> None:
    """Refused first, with the reason; the whole request then does nothing."""
    early, done = running(floor, 2), running(floor, 10)
    before = state(early, NOW - 2 * HOUR).used_share
    with pytest.raises(Refused, match="resets nothing"):
        end(floor["Dry oven"], [done, early], "out-1", NOW)
    assert state(done, NOW).status == "baking"
    after = end(floor["Dry oven"], [done, early], "out-2", NOW, early=True)
    assert after[done].used_share == 0
    assert after[early].used_share == before
    assert after[early].bake.needed


def test_only_what_bakes_there_is_taken_out(floor: dict[str, str]) -> None:
    """A carrier on the bench has no bake to end."""
    with pytest.raises(Refused, match="does not bake in this oven"):
        end(floor["Dry oven"], [out("WB-3", 170, floor)], "out-1", NOW)


def test_what_stands_in_the_oven_without_a_bake_is_said(floor: dict[str, str]) -> None:
    """It is exposed there, not baking."""
    code = out("WB-3", 20, floor)
    record(code, "move", NOW - HOUR, place=floor["Dry oven"])
    assert [one.facts.code for one in oven_now(floor["Dry oven"], NOW).idle] == [code]
    assert [one.place.name for one in oven_loads.ovens(NOW)] == ["Dry oven", "Oven"]
