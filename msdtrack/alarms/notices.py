"""Sends alarms by mail, webhook and whatever else Apprise has an address for.

What goes out and what was sent stands in the database: two servers, restarts and retries give one
notice for each alarm and receiver.
"""

from __future__ import annotations

import hashlib
import logging
import time
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from urllib.parse import urlsplit

import apprise

from msdtrack.config import Settings, notice_urls
from msdtrack.errors import BadInput, FieldError
from msdtrack.services import alarm_notices, alarm_rules, carrier_states, catalog
from msdtrack.services.alarm_notices import Target
from msdtrack.services.countdowns import next_step_text
from msdtrack.store.records import AlarmRecord
from msdtrack.times import local_text, zone

ONE_BY_ONE = alarm_rules.FLOOD_ABOVE
"""More alarms than this at one time go out in one message: a flood is no help."""

LONGEST_S = 30
"""Sending stops after this long in one look; the rest goes out with the next."""

LONGEST_ERROR = 200

_TYPES = {
    "high": apprise.NotifyType.FAILURE,
    "medium": apprise.NotifyType.WARNING,
    "low": apprise.NotifyType.INFO,
}

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Receiver:
    """Somebody, or some program, that gets notices."""

    target: Target
    service: apprise.NotifyBase


class Notices:
    """Sends the alarms of a site to its receivers.

    Args:
        settings: the settings in force.
        base_url: under which people reach the pages.

    Raises:
        BadInput: an address is none that Apprise knows.
    """

    def __init__(self, settings: Settings, base_url: str) -> None:
        self._site = settings.site_name
        self._base_url = base_url.rstrip("/")
        self._tz: tzinfo = zone(settings.timezone)
        urls = dict.fromkeys(notice_urls(settings.notice_urls))
        asset = apprise.AppriseAsset(app_id="msdtrack", app_desc="msdtrack", app_url=base_url)
        self._receivers = [
            _receiver(url, number, asset) for number, url in enumerate(urls, start=1)
        ]

    def send_due(self, now: int) -> int:
        """Send what is due and return how many notices went out.

        Args:
            now: the present moment.
        """
        alarm_notices.close_broken_off(now)
        started, sent = time.monotonic(), 0
        for receiver in self._receivers:
            if time.monotonic() - started > LONGEST_S:
                break
            due = alarm_notices.claim(receiver.target, now)
            batches = [due] if len(due) > ONE_BY_ONE else [[alarm] for alarm in due]
            for number, batch in enumerate(batches):
                error = self._send(receiver, batch, now)
                told = batch
                if error is not None:
                    # What ails one ails the others: they are tried again together.
                    told = [alarm for rest in batches[number:] for alarm in rest]
                    _log.warning("no notice to %s: %s", receiver.target.label, error)
                ids = [alarm.id for alarm in told]
                alarm_notices.settle(receiver.target, ids, error, now)
                if error is not None:
                    break
                sent += len(batch)
        return sent

    def _send(self, receiver: Receiver, alarms: Sequence[AlarmRecord], now: int) -> str | None:
        """Send one message; return why that failed, None if it did not."""
        high = min(alarms, key=lambda alarm: alarm_rules.PRIORITIES.index(alarm.priority))
        if len(alarms) == 1:
            title = f"{self._site}: alarm, {high.priority} priority"
        else:
            title = f"{self._site}: {len(alarms)} alarms at one time"
        body = "\n\n".join(self._text(alarm, now) for alarm in alarms)
        with apprise.LogCapture(level=logging.WARNING) as said:  # type: ignore[no-untyped-call]
            try:
                arrived = receiver.service.notify(
                    body=body,
                    title=title,
                    notify_type=_TYPES[high.priority],
                    body_format=apprise.NotifyFormat.TEXT,
                )
            except Exception as error:
                # A receiver's own code may raise anything; the watch must go on.
                return f"{type(error).__name__}"[:LONGEST_ERROR]
            if arrived:
                return None
            lines = said.getvalue().strip().splitlines()
        why = lines[-1].rpartition(" - ")[2] if lines else "it gave no reason"
        return why[:LONGEST_ERROR]

    def _text(self, alarm: AlarmRecord, now: int) -> str:
        """Return what happened, where, what to do, and where to look."""
        since = local_text(alarm.active_since, self._tz)
        return "\n".join(
            (
                f"What: {alarm.message}",
                f"Where: {_where(alarm)}",
                f"Since: {since}, {alarm.priority} priority",
                f"Next step: {self._next_step(alarm, now)}",
                f"Link: {self._base_url}/alarms#alarm-{alarm.id}",
            )
        )

    def _next_step(self, alarm: AlarmRecord, now: int) -> str:
        if alarm.carrier is None:
            return "See to it, and acknowledge the alarm by name."
        state = carrier_states.state(alarm.carrier, now)
        return f"{next_step_text(state, self._tz)} Acknowledge the alarm by name."


def _where(alarm: AlarmRecord) -> str:
    named = [] if alarm.carrier is None else [f"carrier {alarm.carrier}"]
    if alarm.place is not None:
        named.append(catalog.place(alarm.place).name)
    return ", ".join(named) or "this server"


def _receiver(url: str, number: int, asset: apprise.AppriseAsset) -> Receiver:
    with warnings.catch_warnings():
        # It loads all it has, and what that finds outdated is no news to whoever runs a server.
        warnings.simplefilter("ignore", DeprecationWarning)
        service = apprise.Apprise.instantiate(url, asset=asset)
    if not isinstance(service, apprise.NotifyBase):
        message = f"address {number} of notice_urls is none that Apprise knows"
        raise BadInput(f"Notices can't be sent: {message}.", [FieldError("notice_urls", message)])
    # Some services have a token where others have a host.
    parts = urlsplit(service.url(privacy=True))  # type: ignore[no-untyped-call]
    label = f"{number}: {parts.scheme} {parts.hostname or ''}".strip()
    return Receiver(Target(hashlib.sha256(url.encode()).hexdigest()[:24], label), service)
