"""What people type into forms: read strictly, with every finding beside its field."""

from __future__ import annotations

import math
import re
import uuid
from collections.abc import Iterable, Mapping
from datetime import date

from msdtrack.digits import only_digits
from msdtrack.errors import BadInput, FieldError, MsdtrackError
from msdtrack.times import local_to_utc
from msdtrack.web.site import site

LONGEST_TEXT = 1000
"""Characters of a text, as in the API: a reason is read on lists and screens."""

LONGEST_WHOLE = 15
"""Digits of a whole number: more than anybody counts, and what both databases hold."""

_CONTROL = re.compile(r"[\x00-\x1f\x7f]")


class Form:
    """One form as it was sent.

    Each method reads one field; what is wrong is remembered under its name and `None` answered, so
    that all findings show at once. `check` raises them.
    """

    def __init__(self, sent: Mapping[str, str]) -> None:
        self.values = {name: value.strip() for name, value in sent.items()}
        self.errors: dict[str, str] = {}

    def fault(self, name: str, message: str) -> None:
        """Note what is wrong with a field; the first finding stands."""
        self.errors.setdefault(name, message)

    def text(self, name: str, *, required: bool = False) -> str:
        """Return a text of one line; empty if it was left out."""
        value = self.values.get(name, "")
        if required and not value:
            self.fault(name, "Fill this in.")
        elif len(value) > LONGEST_TEXT:
            self.fault(name, f"At most {LONGEST_TEXT} characters.")
        elif _CONTROL.search(value):
            self.fault(name, "It holds a control character: type it anew.")
        return value

    def choice(self, name: str, allowed: Iterable[str], *, required: bool = True) -> str | None:
        """Return one of the allowed values, None if it was left out."""
        value = self.text(name, required=required)
        if not value:
            return None
        if value not in allowed:
            self.fault(name, "Choose one of the list.")
            return None
        return value

    def number(
        self,
        name: str,
        *,
        required: bool = False,
        least: float | None = None,
        most: float | None = None,
    ) -> float | None:
        """Return a number, written with a decimal point or a decimal comma."""
        value = self.text(name, required=required)
        if not value:
            return None
        try:
            found = float(value.replace(",", "."))
        except ValueError:
            self.fault(name, f'"{value}" is no number.')
            return None
        if not math.isfinite(found):
            self.fault(name, "Not a number.")
            return None
        if least is not None and found < least:
            self.fault(name, f"At least {least:g}.")
            return None
        if most is not None and found > most:
            self.fault(name, f"At most {most:g}.")
            return None
        return found

    def whole(self, name: str, *, required: bool = False, least: int = 0) -> int | None:
        """Return a whole number."""
        value = self.text(name, required=required)
        if not value:
            return None
        if not only_digits(value):
            self.fault(name, f'"{value}" is no whole number.')
            return None
        if len(value) > LONGEST_WHOLE:
            self.fault(name, f"At most {LONGEST_WHOLE} digits.")
            return None
        if int(value) < least:
            self.fault(name, f"At least {least}.")
            return None
        return int(value)

    def request_id(self) -> str:
        """Return the id that the page gave to what is sent, so that it counts once."""
        value = self.text("request_id")
        try:
            return str(uuid.UUID(value))
        except ValueError:
            self.fault("", "The page came without its id: load it again and repeat what you did.")
            return ""

    def yes(self, name: str) -> bool:
        """Return whether a box is ticked."""
        return self.values.get(name, "") != ""

    def day(self, name: str) -> date | None:
        """Return a day, written 2026-05-04."""
        value = self.text(name)
        if not value:
            return None
        try:
            return date.fromisoformat(value)
        except ValueError:
            self.fault(name, f'"{value}" is no day like 2026-05-04.')
            return None

    def moment(self, name: str) -> int | None:
        """Return a moment in seconds UTC, written in the site's time."""
        value = self.text(name)
        if not value:
            return None
        try:
            return local_to_utc(value, site().tz, plain=True)
        except BadInput as error:
            self.fault(name, error.message)
            return None

    def take_over(self, error: MsdtrackError, names: Mapping[str, str] | None = None) -> None:
        """Put what a service found wrong beside the fields it names, or above the form.

        Args:
            error: what the service raised.
            names: the form's names of fields that the service calls otherwise.
        """
        for each in error.errors:
            named = (names or {}).get(each.field, each.field)
            self.fault(named, f"{each.message[:1].upper()}{each.message[1:]}.".replace("..", "."))
        if not error.errors:
            self.fault("", error.message)

    def check(self) -> None:
        """Raise what was found.

        Raises:
            BadInput: something is wrong; `errors` has a finding for each field.
        """
        if self.errors:
            found = [FieldError(name, message) for name, message in self.errors.items()]
            raise BadInput("Something in the form is not right yet.", found)
