"""Moments as whole seconds UTC, and how people read and write them. Knows no clock."""

from __future__ import annotations

from datetime import UTC, date, datetime, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from tzlocal import get_localzone

from msdtrack.errors import BadInput


def parse_time(text: str) -> int:
    """Return the moment of an ISO 8601 time with offset, seconds UTC.

    Raises:
        BadInput: not a time, no offset, or not on a whole second.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise BadInput(f"{text!r} is not a time like 2026-05-04T13:30:00+02:00.") from error
    if moment.tzinfo is None:
        raise BadInput(f"{text!r} has no offset: add Z or for example +02:00.")
    if moment.microsecond:
        raise BadInput(f"{text!r} is not on a whole second.")
    return int(moment.timestamp())


def utc_text(moment: int) -> str:
    """Return a moment as ISO 8601 in UTC, with Z."""
    return datetime.fromtimestamp(moment, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def zone(name: str) -> tzinfo:
    """Return a time zone by its IANA name; an empty name is the machine's own.

    Raises:
        BadInput: no such zone.
    """
    if not name:
        return get_localzone()
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise BadInput(f"{name!r} is no time zone: use a name like Europe/Lisbon.") from error


def local_text(moment: int, tz: tzinfo) -> str:
    """Return a moment in the reader's time: "Tue 24 Nov 14:05"."""
    return datetime.fromtimestamp(moment, UTC).astimezone(tz).strftime("%a %d %b %H:%M")


def local_to_utc(text: str, tz: tzinfo, *, plain: bool = False) -> int:
    """Return the moment of a local time such as "2026-05-04 13:30"; an offset in it wins.

    Args:
        plain: refuse a time that says no one moment, because the clocks change; else one that
            occurs twice is the earlier one.

    Raises:
        BadInput: not a time, or not a plain one.
    """
    try:
        moment = datetime.fromisoformat(text.strip())
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=tz)
        found = int(moment.astimezone(UTC).timestamp())
    except (ValueError, OverflowError) as error:
        raise BadInput(f"{text!r} is not a time like 2026-05-04 13:30.") from error
    if plain and (doubt := clock_change(moment)):
        raise BadInput(
            f"{text!r} {doubt} where the clocks change: add its offset, such as +01:00, or take "
            "the nearest plain time that leaves less floor life."
        )
    return found


def clock_change(local: datetime) -> str:
    """Return why a time in its zone says no one moment: "occurs twice" or "does not exist" where
    the clocks change; else an empty text."""
    offset, other = local.utcoffset(), local.replace(fold=1 - local.fold).utcoffset()
    if offset is None or other is None or offset == other:
        return ""
    return "occurs twice" if (offset > other) == (local.fold == 0) else "does not exist"


def day_text(day: date) -> str:
    """Return a day for people: "24 Nov 2026"."""
    return f"{day.day} {day:%b %Y}"


def duration_text(seconds: int) -> str:
    """Return a length of time for people: "3 d 4 h", "5 h 20 min", "12 min", "40 s"."""
    seconds = abs(seconds)
    if seconds >= 48 * 3600:
        return f"{seconds // 86400} d {seconds % 86400 // 3600} h"
    if seconds >= 3600:
        return f"{seconds // 3600} h {seconds % 3600 // 60:02d} min"
    if seconds >= 60:
        return f"{seconds // 60} min"
    return f"{seconds} s"
