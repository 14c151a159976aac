"""What the tests of goods-in do: make a label, read it with answers, receive what it says."""

from __future__ import annotations

from uuid import uuid4

from msdtrack.services import goods_in
from msdtrack.services.goods_in import Label, Reading
from msdtrack.times import parse_time

NOW = parse_time("2026-11-24T10:00:00Z")
GS = "\x1d"

USUAL = {
    "kind": "reel",
    "bag_condition": "sealed",
    "sealed_on": "2026-09-20",
    "life_h": "",
    "place": "none",
}
"""The answers about an ordinary bag."""


def envelope(**values: str) -> str:
    """Return a 2D label; `n1T` stands for identifier 1T."""
    given = {"P": "BL-0101", "n1P": "MK55-PRS", "Q": "500", "n1T": "L-77", "n10D": "2636"} | values
    fields = (f"{name.removeprefix('n')}{value}" for name, value in given.items() if value)
    return f"[)>\x1e06{GS}{GS.join(fields)}\x1e\x04"


def read(*scans: str, follows: str | None = None, again: str | None = None, **said: str) -> Reading:
    return goods_in.read_label(Label(scans, said, follows), NOW, again)


def receive(*scans: str, follows: str | None = None, **said: str) -> goods_in.ReceivedGoods:
    done, created = goods_in.receive(Label(scans, USUAL | said, follows), NOW, str(uuid4()))
    assert created
    return done


def asked(reading: Reading) -> str:
    assert reading.question is not None, reading
    return reading.question.name


def told(reading: Reading, name: str) -> str:
    return next(line.value for line in reading.told if name in (line.name, line.words))
