"""What a transaction has at hand of carriers is what it would read."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from msdtrack.services import carrier_states, event_recording
from msdtrack.services.accounts import account
from msdtrack.services.at_hand import AtHand
from msdtrack.services.event_recording import NewEvent
from msdtrack.store.connection import write
from tests.services.conftest import NOW, receive

CLOSED: dict[str, Any] = {"desiccant": "fresh", "new_hic": "fresh", "seal": "heat"}


def event(carrier: str, kind: str, at: int, **given: Any) -> NewEvent:
    """Return an event with an id of its own."""
    return NewEvent(str(uuid4()), carrier, kind, at, "Ana", "Bench", **given)


def check_at_hand(hand: AtHand, code: str) -> None:
    """Hold what is at hand against what is stored."""
    held, stored = hand.account(code), account(code)
    assert held.events == stored.events
    assert (held.facts, held.policies) == (stored.facts, stored.policies)
    assert hand.state(code) == carrier_states.state(code, NOW)
    assert hand.conflicts(code) == carrier_states.state(code, NOW).conflicts


def test_what_was_put_on_the_log_is_at_hand(shop: dict[str, str]) -> None:
    """Events that come last, one that comes late, a split, what contradicts, a correction."""
    code = receive(shop["Bench"]).code
    opening = event(code, "open", NOW - 900, hic={"5": "dry", "10": "dry", "60": "dry"})
    steps = [
        opening,
        event(code, "move", NOW - 800, place=shop["Cabinet"]),
        event(code, "close", NOW - 600, **CLOSED),
        event(code, "hold", NOW - 600, reason="looked at"),
        event(code, "take", NOW - 700, quantity=5),
        event(code, "open", NOW - 300),
        event(code, "split", NOW - 200, quantity=10),
        event(code, "open", NOW - 100),
        event(code, "correct", NOW, event=opening.id, reason="slip", fields={"at": NOW - 950}),
        event(code, "move", NOW, place=shop["Bench"]),
    ]
    with write():
        hand = AtHand(NOW)
        for step in steps:
            hand.state(code, NOW - 50)
            (recorded,) = event_recording.record([step], NOW, hand)
            check_at_hand(hand, code)
            assert recorded.state == hand.state(code)
            if recorded.child is not None:
                check_at_hand(hand, recorded.child)


def test_others_in_the_bag_are_at_hand_too(shop: dict[str, str]) -> None:
    """Opening one opens the other, which was read before; who asks is told which."""
    first, second = (receive(shop["Bench"]).code for _ in range(2))
    for one in (first, second):
        event_recording.record([event(one, "open", NOW - 900)], NOW)
    together = [event(one, "close", NOW - 600, **CLOSED) for one in (first, second)]
    event_recording.record(together, NOW)
    with write():
        hand = AtHand(NOW)
        hand.states([first, second])
        (recorded,) = event_recording.record([event(first, "open", NOW - 60)], NOW, hand)
        assert recorded.brought == (second,)
        for one in (first, second):
            check_at_hand(hand, one)
            assert hand.state(one).opened_at == NOW - 60
