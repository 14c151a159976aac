"""The running account of one carrier: what the fold carries from event to event."""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, field, fields
from datetime import date
from enum import StrEnum
from fractions import Fraction
from operator import attrgetter
from typing import Literal

from msdtrack.exposure.oven import Band
from msdtrack.exposure.spans import AirKey

_NOTHING = Fraction(0)

Basis = Literal["measured", "assumed", "dry_storage", "provisional", "bake"]


class Phase(StrEnum):
    """Where the carrier is, as far as its clock is concerned."""

    BAGGED = "bagged"
    """In a closed bag with good desiccant: dry storage."""
    TIRED_BAG = "tired_bag"
    """In a closed bag whose desiccant does not count: exposure goes on."""
    OPEN = "open"
    BAKING = "baking"


@dataclass(frozen=True, slots=True)
class Interval:
    """One line of a working.

    Args:
        share: share of the floor life used in it.
        rate: share per second.
        key: the air's key where air decided, None in a bag or in a bake.
    """

    start: int
    end: int
    place: str | None
    basis: Basis
    rate: Fraction
    share: Fraction
    key: AirKey | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Conflict:
    """An event that contradicts the history."""

    event_id: str
    at: int
    message: str


@dataclass(frozen=True, slots=True)
class Need:
    """What a bake that was started must reach. `hours` None: no figure, so it never resets."""

    band: Band
    hours: Fraction | None
    source: str
    makers: bool = False


@dataclass(frozen=True, slots=True)
class Joined:
    """The account of a carrier at the moment it was joined into another."""

    ledger: Ledger
    conflicts: tuple[Conflict, ...]


@dataclass(slots=True)
class Storage:
    """An unbroken dry storage."""

    reset_possible: bool
    dry_s: int = 0
    counted_s: int = 0
    provisional: Fraction = _NOTHING
    full_since: int | None = None


@dataclass(slots=True)
class Bake:
    """A running bake. `home` is where the carrier was before it."""

    started_at: int
    temp_c: float
    oven: str | None
    home: str | None
    need: Need
    reached_at: int | None = None


@dataclass(slots=True)
class Ledger:
    """The account of a carrier at the moment `now`.

    Args:
        assumed: the part of the used share that stands on assumed air.
        exposure_s: exposure total since the last reset, seconds.
        outside_30_60: some exposure since the last reset was outside 30 °C / 60 % RH.
        beyond_run_s: length of the present unbroken exposure beyond the table, seconds.
        full_since: when the share reached 1.
        board: the board batch it was placed on; passes, peak_c: its reflows so far.
        baked_at: when the last bake that reset it was complete.
        desiccant_out_s: how long the desiccant has been in the air over all openings.
        known_closed_at: when the carrier was last known to be in a closed bag.
        sealed_on: the seal date that its shelf life counts from; None: not known.
        stays: (place, start, end) of all time outside a good bag, what was joined in included:
            whose readings can change this account.
    """

    now: int
    phase: Phase
    place: str | None
    bag: str | None
    quantity: int
    known_closed_at: int
    shelf_life_ends: date | None
    sealed_on: date | None = None
    _whole: int = 0
    _parts: int = 1
    _used: Fraction | None = _NOTHING
    assumed: Fraction = _NOTHING
    exposure_s: int = 0
    outside_30_60: bool = False
    beyond_run_s: int = 0
    beyond_table: bool = False
    full_since: int | None = None
    storage: Storage | None = None
    bake: Bake | None = None
    opened_at: int | None = None
    desiccant_out_s: int = 0
    hic: Mapping[str, str] | None = None
    hic_good: bool = False
    hic_failed: bool = False
    hic_missing: bool = False
    opened_after_shelf_life: bool = False
    history_unknown: bool = False
    baked_once: bool = False
    baked_at: int | None = None
    bakes: int = 0
    maker_bakes: int = 0
    hot_s: int = 0
    board: str | None = None
    passes: int = 0
    peak_c: float | None = None
    held: tuple[str, ...] = ()
    gone: str | None = None
    last_reset_at: int | None = None
    unknowns: frozenset[str] = frozenset()
    intervals: list[Interval] = field(default_factory=list)
    before_reset: list[Interval] = field(default_factory=list)
    stays: list[tuple[str, int, int]] = field(default_factory=list)

    def copy(self) -> Ledger:
        """Return a copy that can be carried on without changing this one."""
        made = Ledger(*_values(self))
        made.storage = None if self.storage is None else copy(self.storage)
        made.bake = None if self.bake is None else copy(self.bake)
        made.intervals, made.before_reset = self.intervals[:], self.before_reset[:]
        made.stays = self.stays[:]
        return made

    @property
    def used(self) -> Fraction:
        """Return the share used since the last reset, provisional storage hours not included."""
        if self._used is None:
            self._used = Fraction(self._whole, self._parts)
        return self._used

    @used.setter
    def used(self, share: Fraction) -> None:
        self._used, self._whole, self._parts = share, share.numerator, share.denominator

    def use(self, whole: int, parts: int) -> None:
        """Use `whole` of the `parts` of a floor life: whole numbers are added, and made a fraction
        when it is asked for."""
        if parts != self._parts:
            times, rest = divmod(parts, self._parts)
            if rest:
                self.used += Fraction(whole, parts)
                return
            self._whole, self._parts = self._whole * times, parts
        self._whole += whole
        self._used = None

    @property
    def is_full(self) -> bool:
        """Return whether a whole floor life or more is used, provisional hours not included."""
        return self._whole >= self._parts

    @property
    def share(self) -> Fraction:
        """Return the used share, provisional storage hours included."""
        provisional = self.provisional
        return self.used + provisional if provisional else self.used

    @property
    def provisional(self) -> Fraction:
        """Return the share of storage hours that a reset would cancel."""
        return self.storage.provisional if self.storage is not None else _NOTHING


_values = attrgetter(*(field.name for field in fields(Ledger)))
