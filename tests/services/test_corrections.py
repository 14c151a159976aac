"""Corrections: what the preview shows is what the log then says, and nothing is ever deleted."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest

from msdtrack.errors import BadInput, Conflict, NotFound
from msdtrack.services import climate, corrections, event_recording, people
from msdtrack.services.carrier_states import state, state_and_working
from msdtrack.services.climate import NewReading
from msdtrack.services.corrections import Change, differing, entry, preview
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import event_log
from tests.services.conftest import NOW, receive

HOUR = 3600
DRY = {"5": "dry", "10": "dry", "60": "dry"}
HUMID = {"5": "humid", "10": "humid", "60": "dry"}


def happened(code: str, kind: str, hours_ago: float, **what: object) -> str:
    at = NOW - round(hours_ago * HOUR)
    new = NewEvent(str(uuid4()), code, kind, at, **what)  # type: ignore[arg-type]
    event_recording.record([new], NOW)
    return new.id


def change(event_id: str, said: dict[str, Any] | None = None, **what: Any) -> Change:
    fields = {} if said is None else differing(entry(event_id), said)
    given = {"reason": "scanned late", "person": "Ines", "void": said is None, "fields": fields}
    return Change(str(uuid4()), event_id, **(given | what))


def put(wanted: Change) -> corrections.Preview:
    """Show, record, and hold the log to what was shown."""
    shown = preview(wanted, NOW)
    corrections.record(wanted, shown.seen, NOW)
    own = entry(wanted.event).event.carrier
    assert state_and_working(own, NOW) == (shown.after.state, shown.after.working)
    for one in shown.followers:
        assert state(one.code, NOW) == one.after
    return shown


@pytest.fixture
def reel(shop: dict[str, str]) -> str:
    """A reel opened at the bench two hours ago."""
    code = receive(shop["Bench"]).code
    happened(code, "open", 2, hic=DRY)
    return code


def opening(code: str) -> str:
    return next(o.event.id for o in event_recording.log_of(code) if o.event.kind == "open")


def test_a_preview_writes_nothing(reel: str) -> None:
    """The log is as long as before, and so is the state."""
    newest, before = event_log.newest_seq(), state_and_working(reel, NOW)
    shown = preview(change(opening(reel), {"at": NOW - 4 * HOUR}), NOW)
    assert (shown.before.state, shown.before.working) == before == state_and_working(reel, NOW)
    assert float(shown.after.state.used_share) == pytest.approx(4 / 168)
    assert shown.after.working.used_share == shown.after.state.used_share
    assert event_log.newest_seq() == newest


def test_the_log_then_says_what_was_shown(reel: str) -> None:
    """State and working follow; the entry and its correction stay readable."""
    put(change(opening(reel), {"at": NOW - 4 * HOUR}))
    (line, _) = event_recording.log_of(reel)
    assert line.event.at == NOW - 2 * HOUR
    assert line.stands is not None
    assert line.stands.at == NOW - 4 * HOUR
    assert [one.reason for one in line.corrections] == ["scanned late"]


@pytest.mark.parametrize(
    ("said", "seen"),
    [
        ({"hic": HUMID}, ("reasons", "hic_failed")),
        ({"place": "Cabinet"}, ("status", "dry_storage")),
    ],
)
def test_what_was_entered_wrong_is_put_right(
    said: dict[str, Any], seen: tuple[str, str], reel: str, shop: dict[str, str]
) -> None:
    """The card, the place: each changes what it decides about."""

    rows = [NewReading(shop["Cabinet"], NOW - n * 600, 22.0, 2.0) for n in range(30)]
    climate.add_readings(rows, NOW)
    if "place" in said:
        said = {"place": shop[said["place"]]}
    after = put(change(opening(reel), said)).after.state
    assert seen[1] in getattr(after, seen[0])


def test_a_second_correction_keeps_what_the_first_put_right(reel: str) -> None:
    """The card and then the time: both stand, though the newest correction counts alone."""
    put(change(opening(reel), {"hic": HUMID}))
    put(change(opening(reel), {"at": NOW - 3 * HOUR}))
    stands = entry(opening(reel)).stands
    assert stands is not None
    assert (stands.hic, stands.at) == (HUMID, NOW - 3 * HOUR)


def test_back_to_what_was_recorded(reel: str) -> None:
    """A correction to the original value is one too."""
    put(change(opening(reel), {"at": NOW - 3 * HOUR}))
    put(change(opening(reel), {"at": NOW - 2 * HOUR}))
    assert float(state(reel, NOW).used_share) == pytest.approx(2 / 168)


def test_a_correction_is_taken_back_by_another(reel: str) -> None:
    """Struck out, and then not: three entries, and the state as at first."""
    before = state(reel, NOW)
    put(change(opening(reel)))
    assert state(reel, NOW).status == "in_dry_bag"
    ((striking, counts),) = entry(opening(reel)).corrections
    assert counts
    put(change(striking.id))
    assert state(reel, NOW) == before
    assert len(event_recording.log_of(reel)) == 3
    assert [counts for _, counts in entry(opening(reel)).corrections] == [False]
    with pytest.raises(BadInput, match="no longer counts"):
        preview(change(striking.id), NOW)


def test_a_struck_out_entry_is_not_corrected_further(reel: str) -> None:
    """What struck it out must be taken back first."""
    put(change(opening(reel)))
    with pytest.raises(BadInput, match="struck out"):
        preview(change(opening(reel), {"at": NOW}), NOW)


def test_what_shared_the_bag_is_corrected_too(shop: dict[str, str]) -> None:
    """Both were opened by one scan: both were opened at the corrected time."""
    one, other = (receive(shop["Bench"], bag="BAG-1").code for _ in range(2))
    root = happened(one, "open", 2, hic=DRY)
    shown = put(change(root, {"at": NOW - 6 * HOUR}))
    (follower,) = shown.followers
    assert (follower.code, follower.why, follower.corrected) == (other, "same_bag", True)
    assert float(state(other, NOW).used_share) == pytest.approx(6 / 168)
    (brought,) = [line.event.id for line in event_recording.log_of(other)][:1]
    assert entry(brought).cause == entry(root).event
    put(change(brought))
    assert state(other, NOW).status == "in_dry_bag"
    assert float(state(one, NOW).used_share) == pytest.approx(6 / 168)


def test_only_this_one_was_opened(shop: dict[str, str]) -> None:
    """The other of its bag goes back to closed."""
    one, other = (receive(shop["Bench"], bag="BAG-1").code for _ in range(2))
    root = happened(one, "open", 2, hic=DRY)
    put(change(root, {"only_this": True}))
    assert state(one, NOW).status == "exposed"
    assert state(other, NOW).status == "in_dry_bag"


def test_children_of_a_split_follow(reel: str) -> None:
    """They have the history of what they were split off; struck out, the split leaves nothing."""
    split = happened(reel, "split", 1, quantity=100)
    (child,) = [o.event.child for o in event_recording.log_of(reel) if o.event.child]
    shown = put(change(opening(reel), {"at": NOW - 10 * HOUR}))
    assert [(one.code, one.why, one.corrected) for one in shown.followers] == [
        (child, "split_off", False)
    ]
    put(change(split, {"quantity": 120}))
    assert state(child, NOW).ledger.quantity == 120
    assert state(reel, NOW).ledger.quantity == 380
    put(change(split))
    assert state(child, NOW).status == "gone"
    assert state(reel, NOW).ledger.quantity == 500


def test_what_it_was_joined_into_follows(shop: dict[str, str], reel: str) -> None:
    """The taker has the giver's share, also before the correction is on the log."""
    taker = receive(shop["Bench"]).code
    happened(taker, "open", 1, hic=DRY)
    join = happened(reel, "join", 0.5, into=taker)
    shown = put(change(opening(reel), {"at": NOW - 50 * HOUR}))
    assert [(one.code, one.why) for one in shown.followers] == [(taker, "joined")]
    assert float(state(taker, NOW).used_share) == pytest.approx(50 / 168)
    other_side = event_log.caused_by(join)[0]
    assert entry(other_side.id).only_by_cause
    with pytest.raises(BadInput, match=reel):
        preview(change(other_side.id), NOW)
    shown = put(change(join))
    assert [one.code for one in shown.followers] == [taker]
    assert state(reel, NOW).status == "exposed"


def test_contradictions_that_end_and_that_arise_are_named(shop: dict[str, str]) -> None:
    """Closed with no opening on record: striking the closing out ends it, as said; and the other
    way round."""
    code = receive(shop["Bench"]).code
    bag = {"desiccant": "fresh", "new_hic": "fresh", "seal": "heat"}
    closing = happened(code, "close", 1, **bag)
    shown = put(change(closing))
    assert [one.event_id for one in shown.settled] == [closing]
    assert shown.arising == ()
    ((striking, _),) = entry(closing).corrections
    shown = put(change(striking.id))
    assert [one.event_id for one in shown.arising] == [closing]


def test_the_same_correction_twice_is_one(reel: str) -> None:
    """Sent again after a lost answer it adds nothing; with other content it is refused."""
    wanted = change(opening(reel), {"at": NOW - 3 * HOUR})
    seen = preview(wanted, NOW).seen
    corrections.record(wanted, seen, NOW)
    corrections.record(wanted, seen, NOW + 9)
    assert len(event_recording.log_of(reel)) == 2
    other = Change(wanted.id, wanted.event, True, "no", "Ines")
    with pytest.raises(Conflict):
        corrections.record(other, seen, NOW)


def test_what_was_shown_must_still_hold(reel: str, shop: dict[str, str]) -> None:
    """Another entry came in between: nothing is recorded, it must be looked at anew."""
    wanted = change(opening(reel), {"at": NOW - 3 * HOUR})
    seen = preview(wanted, NOW).seen
    happened(reel, "move", 0, place=shop["Cabinet"])
    with pytest.raises(Conflict, match="look at it again"):
        corrections.record(wanted, seen, NOW)
    assert len(event_recording.log_of(reel)) == 2


@pytest.mark.parametrize(
    ("said", "what", "field"),
    [
        ({"at": NOW - HOUR}, {"person": ""}, "who"),
        ({"at": NOW - HOUR}, {"reason": " "}, "why"),
        ({}, {}, "how"),
        ({"at": None}, {}, "at"),
        ({"at": NOW + HOUR}, {}, "fields.at"),
    ],
)
def test_what_is_wrong_is_named(
    said: dict[str, Any], what: dict[str, Any], field: str, reel: str
) -> None:
    """A name, a reason and something to change; a time that can be."""
    with pytest.raises(BadInput) as found:
        preview(change(opening(reel), said, **what), NOW)
    assert [error.field for error in found.value.errors] == [field]


def test_no_more_pieces_than_there_were_and_no_bake_outside_an_oven(
    reel: str, shop: dict[str, str]
) -> None:
    """What is corrected is checked as what is recorded."""
    taken = happened(reel, "take", 1, quantity=20)
    with pytest.raises(BadInput) as found:
        preview(change(taken, {"quantity": 501}), NOW)
    assert found.value.errors[0].message == "it held 500 pieces then"
    bake = happened(reel, "bake_start", 0.5, place=shop["Oven"], temp_c=40.0)
    with pytest.raises(BadInput) as found:
        preview(change(bake, {"place": shop["Bench"]}), NOW)
    assert found.value.errors[0].field == "place"


def test_no_such_entry(store: None) -> None:
    """A link that leads nowhere says so."""
    with pytest.raises(NotFound):
        entry("nothing")


def test_who_did_it_can_be_put_right(reel: str) -> None:
    """A scan under the badge of the one before."""
    person = people.add_person("Tomas", NOW).code
    put(change(opening(reel), {"person": person}))
    stands = entry(opening(reel)).stands
    assert stands is not None
    assert stands.person == person
