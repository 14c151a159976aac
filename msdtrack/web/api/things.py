"""Parts, places, people, alarms, log lines and scans as JSON-ready values."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from msdtrack.exposure.facts import PartFacts
from msdtrack.services.alarm_rules import is_stale
from msdtrack.services.answers import event_answer, state_answer
from msdtrack.services.catalog import Place
from msdtrack.services.event_recording import LogLine
from msdtrack.services.people import Person
from msdtrack.services.scanning import ScanAnswer
from msdtrack.store.records import AlarmRecord
from msdtrack.times import utc_text

Answer = dict[str, Any]


def part_answer(part: PartFacts) -> Answer:
    """Return a part; null is unknown."""
    return asdict(part)


def place_answer(place: Place) -> Answer:
    """Return a place with its air settings in force."""
    return asdict(place)


def person_answer(person: Person) -> Answer:
    """Return a person."""
    return {"code": person.code, "name": person.name, "in_use": person.retired_at is None}


def alarm_answer(alarm: AlarmRecord, now: int) -> Answer:
    """Return an alarm with its state."""
    answer = asdict(alarm) | {"state": alarm.state, "stale": is_stale(alarm, now)}
    for name in _ALARM_TIMES:
        if answer[name] is not None:
            answer[name] = utc_text(answer[name])
    return answer


_ALARM_TIMES = (
    "raised_at",
    "again_at",
    "returned_at",
    "acknowledged_at",
    "ended_at",
    "shelved_at",
    "shelved_until",
)


def log_answer(line: LogLine) -> Answer:
    """Return an event as it was sent, as it stands now, and its corrections."""
    return event_answer(line.event) | {
        "stands": None if line.stands is None else event_answer(line.stands),
        "corrections": [event_answer(one) for one in line.corrections],
    }


def scan_answer(answer: ScanAnswer) -> Answer:
    """Return what a scan did."""
    return {
        "scan_id": answer.scan_id,
        "message": answer.message,
        # Clients know three tones; that it must not be used is in the state.
        "tone": "ask" if answer.tone == "stop" else answer.tone,
        "title": answer.title,
        "next_step": answer.next_step,
        "time_left": answer.time_left,
        "caution": answer.caution,
        "carrier": answer.carrier,
        "state": None if answer.state is None else state_answer(answer.state),
        "choices": [one._asdict() for one in answer.choices],
        "countdowns": [
            {"name": one.name, "ends_at": utc_text(one.ends_at)} for one in answer.countdowns
        ],
        "series": list(answer.series),
        "person": answer.person,
        "action": answer.action,
    }
