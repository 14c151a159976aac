"""Measurements against limits: the limits of a part's mounting variants, and what values say."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from msdtrack.errors import BadInput, FieldError
from msdtrack.services import catalog, people
from msdtrack.services.value_tables import read_channels
from msdtrack.store import sample_checks
from msdtrack.store.connection import read, write
from msdtrack.store.sample_checks import Channel, CheckRecord, LimitsRecord, ValueRecord

LONGEST_VARIANT = 60

Side = Literal["", "below", "above"]
"""Where a value lies: within its limits, or beyond which of them."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One value and where it lies; a value just at a limit is good."""

    value: Decimal
    side: Side


@dataclass(frozen=True, slots=True)
class PieceVerdict:
    """One piece: its values in the order of the channels, None where one is missing.

    Args:
        replaced: how many of its values replaced earlier ones.
    """

    piece: str
    values: tuple[Measured | None, ...]
    replaced: int

    @property
    def fails(self) -> bool:
        """Return whether a value lies beyond a limit."""
        return any(one is not None and one.side for one in self.values)


@dataclass(frozen=True, slots=True)
class ChannelVerdict:
    """One channel over all pieces; the figures are None before anything is measured."""

    channel: Channel
    failing: int
    least: Decimal | None
    mean: Decimal | None
    greatest: Decimal | None


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the values say of the lot.

    Args:
        measured, failing: pieces.
        decision: accept once every piece of the sample is measured; reject as soon as so many
            fail; None before.
    """

    pieces: tuple[PieceVerdict, ...]
    channels: tuple[ChannelVerdict, ...]
    measured: int
    failing: int
    decision: Literal["accept", "reject"] | None


@dataclass(frozen=True, slots=True)
class LotValues:
    """Values of one check: by channel name, each value with its piece, in order."""

    check: int
    lot: str
    recorded_at: int
    values: dict[str, tuple[tuple[str, Decimal], ...]]


def side_of(channel: Channel, value: Decimal) -> Side:
    """Return where a value lies; the limits themselves are good."""
    if channel.low is not None and value < channel.low:
        return "below"
    if channel.high is not None and value > channel.high:
        return "above"
    return ""


def judge(check: CheckRecord, values: Sequence[ValueRecord]) -> Verdict:
    """Return what the values of a check say: of each piece, each channel and the lot.

    Args:
        check: the check with its limits and its plan.
        values: all of it, replaced ones too, in order.

    Source: a lot is accepted with at most the acceptance number of failing pieces, ISO 2859-1.
    """
    newest = standing(values)
    pieces = tuple(_piece(check, piece, newest, values) for piece in _pieces(values))
    failing = sum(piece.fails for piece in pieces)
    decision: Literal["accept", "reject"] | None = None
    if failing > check.accept:
        decision = "reject"
    elif len(pieces) >= check.sample_size:
        decision = "accept"
    channels = tuple(_channel(channel, pieces, n) for n, channel in enumerate(check.channels))
    return Verdict(pieces, channels, len(pieces), failing, decision)


def standing(values: Iterable[ValueRecord]) -> dict[tuple[str, str], Decimal]:
    """Return the newest value by piece and channel."""
    return {(one.piece, one.channel): one.value for one in values}


def variants(part: str) -> list[LimitsRecord]:
    """Return the limits in force of a part's mounting variants, by name.

    Raises:
        NotFound: there is no such part.
    """
    with read():
        catalog.part(part)
        newest = {record.variant: record for record in sample_checks.limits(part)}
    return sorted(
        (record for record in newest.values() if record.channels),
        key=lambda record: record.variant.casefold(),
    )


def variant(part: str, name: str) -> LimitsRecord:
    """Return the limits in force of one variant.

    Raises:
        NotFound: there is no such part.
        BadInput: it has no limits for this variant.
    """
    found = next((one for one in variants(part) if one.variant == name), None)
    if found is None:
        message = f'{part} has no limits for the variant "{name}": enter them first'
        raise BadInput(f"{message}.", [FieldError("variant", message)])
    return found


def set_limits(
    part: str, name: str, table: str, person: str, reason: str, now: int
) -> LimitsRecord:
    """Put limits of a variant in force; checks that are planned already keep theirs.

    Args:
        name: of the mounting variant.
        table: channels as pasted (`value_tables.read_channels`); empty withdraws the variant.
        person: badge code or name.
        reason: why, for those who read it later.

    Raises:
        NotFound: there is no such part.
        BadInput: a cell or a field is wrong; all are named.
    """
    catalog.part(part)
    name = " ".join(name.split())
    errors = []
    if not name or len(name) > LONGEST_VARIANT:
        errors.append(FieldError("variant", f"name it, in at most {LONGEST_VARIANT} characters"))
    if not reason.strip():
        errors.append(FieldError("reason", "say where the limits come from, or why they change"))
    if not person:
        errors.append(FieldError("person", "say who enters them"))
    channels: tuple[Channel, ...] = ()
    if table.strip():
        try:
            channels = read_channels(table)
        except BadInput as error:
            errors += [FieldError(f"table, {one.field}", one.message) for one in error.errors]
    elif not any(one.variant == name for one in variants(part)):
        errors.append(FieldError("table, row 1", "paste or type a channel in each row"))
    if errors:
        raise BadInput("The limits were not saved.", errors)
    with write():
        who = people.person_code(person, now)
        record = LimitsRecord(part, name, channels, reason.strip(), who, now)
        sample_checks.insert_limits(record)
    return record


def earlier_lots(check: CheckRecord, most: int = 5) -> list[LotValues]:
    """Return the values of the last checks of other lots, same part and variant, oldest first."""
    with read():
        found = [
            one
            for one in sample_checks.checks(part=check.part, before=check.number, limit=50)
            if one.variant == check.variant and one.lot != check.lot
        ]
        values = sample_checks.values([one.number for one in found])
    with_values = [one for one in found if values[one.number]][:most]
    return [lot_values(one, values[one.number]) for one in reversed(with_values)]


def lot_values(check: CheckRecord, values: Sequence[ValueRecord]) -> LotValues:
    """Return the values of one check by channel."""
    by_channel: dict[str, list[tuple[str, Decimal]]] = {}
    for (piece, channel), value in standing(values).items():
        by_channel.setdefault(channel, []).append((piece, value))
    return LotValues(
        check.number,
        check.lot,
        check.recorded_at,
        {channel: tuple(found) for channel, found in by_channel.items()},
    )


def _pieces(values: Sequence[ValueRecord]) -> list[str]:
    return list(dict.fromkeys(one.piece for one in values))


def _piece(
    check: CheckRecord,
    piece: str,
    newest: dict[tuple[str, str], Decimal],
    values: Sequence[ValueRecord],
) -> PieceVerdict:
    found: list[Measured | None] = []
    for channel in check.channels:
        value = newest.get((piece, channel.name))
        found.append(None if value is None else Measured(value, side_of(channel, value)))
    replaced = sum(one.piece == piece and one.reason != "" for one in values)
    return PieceVerdict(piece, tuple(found), replaced)


def _channel(channel: Channel, pieces: Sequence[PieceVerdict], n: int) -> ChannelVerdict:
    found = [piece.values[n] for piece in pieces]
    values = [one.value for one in found if one is not None]
    failing = sum(one is not None and one.side != "" for one in found)
    if not values:
        return ChannelVerdict(channel, failing, None, None, None)
    mean = sum(values, Decimal(0)) / len(values)
    return ChannelVerdict(channel, failing, min(values), mean, max(values))
