"""What can go wrong, in the words of the person who has to put it right.

One root error; every kind has a stable `code` that pages, the API and the command line report.
How a code becomes an HTTP status or an exit code is decided where it is shown, not here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class FieldError:
    """One finding about one value.

    Attributes:
        field: Where the value stood: a field name, a dotted path or a file's line.
        message: What is wrong with it and what to do.
    """

    field: str
    message: str


class MsdtrackError(Exception):
    """The root of every error that msdtrack raises on purpose.

    Args:
        message: What happened and what to do about it, for a person.
        errors: Findings about single values, in the order they were found.
    """

    code: ClassVar[str] = "error"

    def __init__(self, message: str, errors: Iterable[FieldError] = ()) -> None:
        super().__init__(message)
        self.message = message
        self.errors: list[FieldError] = list(errors)


class BadInput(MsdtrackError):
    """A value is missing, malformed or out of its range; nothing was written."""

    code = "bad_input"


class NotFound(MsdtrackError):
    """Nothing is known under the given name or code."""

    code = "not_found"


class Conflict(MsdtrackError):
    """The same name already stands for something else; nothing was written."""

    code = "conflict"


class Refused(MsdtrackError):
    """The action is impossible in the present state; nothing was written."""

    code = "refused"
