"""The codes on labels, signs, badges and cards: how they are made and what a scan of one means.

A code is a kind letter, a body of A-Z and 0-9, and a check character over both. Upper-case letters
and digits only: keyboard-wedge scanners and national keyboard layouts mangle the rest.

Source: check character ISO/IEC 7064, system MOD 37,36 (by python-stdnum).
"""

from __future__ import annotations

import string
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from stdnum.iso7064 import mod_37_36

from msdtrack.errors import BadInput
from msdtrack.phrases import counted
from msdtrack.printing.actions import ACTIONS, Action

__all__ = [
    "ACTIONS",
    "Action",
    "BadCode",
    "Code",
    "CodeKind",
    "keyboard_fault",
    "make_action_code",
    "make_code",
    "read_code",
]

_DIGITS = 6
_ALPHABET = frozenset(string.ascii_uppercase + string.digits)
# ASCII only: `str.upper` turns a few foreign letters into allowed ones and hides a wrong layout.
_TO_UPPER = str.maketrans(string.ascii_lowercase, string.ascii_uppercase)
# What a scanner on the other of two common layouts types for these keys.
_SWAPPED_KEYS = (str.maketrans("YZ", "ZY"), str.maketrans("AQZW", "QAWZ"))
# AIM symbology identifier of Code 128 (ISO/IEC 15424), which some scanners put in front.
_SYMBOLOGY_PREFIXES = ("]C0", "]C1", "]c0", "]c1")


class CodeKind(StrEnum):
    """What a code names; the value is its first letter."""

    CARRIER = "C"
    PLACE = "P"
    PERSON = "W"
    ACTION = "A"
    JOB = "J"
    BAG = "B"

    @property
    def word(self) -> str:
        """Its word in a sentence, for example "carrier"."""
        return self.name.lower()


class BadCode(BadInput):
    """A scan that is no code of this system, or one that was misread; nothing was changed."""

    code = "bad_code"


@dataclass(frozen=True, slots=True)
class Code:
    """A code that was read and checked.

    Attributes:
        kind: What it names.
        text: The whole code as printed, check character included.
    """

    kind: CodeKind
    text: str

    @property
    def serial(self) -> int | None:
        """Its number, or None for an action."""
        return None if self.kind is CodeKind.ACTION else int(self.text[1:-1])

    @property
    def action(self) -> Action | None:
        """The action it asks for, or None for every other kind."""
        return _ACTION_BODIES[self.text[1:-1]] if self.kind is CodeKind.ACTION else None


_ACTION_BODIES = {action.body: action for action in ACTIONS.values()}


def make_code(kind: CodeKind | str, serial: int) -> str:
    """Return the code of thing number `serial` of a kind, for example "C000123V".

    Args:
        kind: A `CodeKind` or its letter, actions excepted.
        serial: 1 or more; six digits are printed, more if the number needs them.

    Raises:
        BadCode: The kind is unknown or an action, or the number is below 1.
    """
    if kind == CodeKind.ACTION or kind not in set(CodeKind):
        raise BadCode(f'"{kind}" is no kind of numbered code.')
    if serial < 1:
        raise BadCode(f"A code's number starts at 1, not {serial}.")
    return _with_check_character(f"{CodeKind(kind)}{serial:0{_DIGITS}d}")


@cache
def make_action_code(name: str) -> str:
    """Return the code of an action, for example the one of "OPEN".

    Raises:
        BadCode: There is no action of this name.
    """
    if name not in ACTIONS:
        raise BadCode(f'There is no action "{name}".')
    return _with_check_character(CodeKind.ACTION + ACTIONS[name].body)


def read_code(text: str) -> Code:
    """Return what a scan or a typed code names.

    Args:
        text: What the scanner typed; spaces, line ends and lower case do no harm.

    Raises:
        BadCode: Nothing was read, a character is wrong or missing, or it is no code of this system.
    """
    typed = _as_typed(text)
    if not typed:
        raise BadCode("Nothing was read: scan it again.")
    strange = sorted(set(typed) - _ALPHABET)
    if strange:
        raise BadCode(
            f"No code of this system holds {_quoted(strange)}. If this is one of our labels, the "
            "scanner's keyboard layout is wrong: scan the scanner test of the action card on the "
            "set-up page. If not, it is another bar code: look for ours."
        )
    if typed[0] not in set(CodeKind):
        raise BadCode(
            f'No code of this system begins with "{typed[0]}". Look for the label with our code '
            "and scan that."
        )
    if not mod_37_36.is_valid(typed):
        raise BadCode(_wrong_character_message(typed))
    kind, body = CodeKind(typed[0]), typed[1:-1]
    if kind is CodeKind.ACTION:
        if body not in _ACTION_BODIES:
            raise BadCode(f'There is no action "{body}": print a new action card.')
    elif not body.isdecimal() or len(body) < _DIGITS:
        raise BadCode(
            f"This is no {kind.word} code: after the letter come {_DIGITS} digits or more. "
            "Scan it again."
        )
    return Code(kind, typed)


def keyboard_fault(text: str) -> str | None:
    """Return what is wrong with the scanner's keyboard layout, or None if all is well.

    Args:
        text: What the scanner typed when it read the code of the action "TEST".
    """
    printed, typed = make_action_code("TEST"), _as_typed(text)
    if typed == printed:
        return None
    if len(typed) != len(printed):
        return (
            f"The scanner typed {counted(len(typed), 'character')} instead of {len(printed)}: scan "
            "the test code again. If it comes back, set the scanner's keyboard layout to that of "
            "this computer."
        )
    wrong = dict.fromkeys((p, t) for p, t in zip(printed, typed, strict=True) if p != t)
    listed = ", ".join(f'"{t}" for "{p}"' for p, t in wrong)
    return (
        f"The scanner types {listed}. Set the scanner's keyboard layout to that of this computer, "
        "then scan the test code again."
    )


def _as_typed(text: str) -> str:
    """Return the text without what a scanner adds around and between the characters."""
    typed = "".join(text.split())
    if typed.startswith(_SYMBOLOGY_PREFIXES):
        typed = typed[3:]
    return typed.translate(_TO_UPPER)


def _with_check_character(body: str) -> str:
    return body + mod_37_36.calc_check_digit(body)


def _wrong_character_message(typed: str) -> str:
    if any(mod_37_36.is_valid(typed.translate(swap)) for swap in _SWAPPED_KEYS):
        return (
            "One character is wrong, and the scanner's keyboard layout may be the cause: scan it "
            "again; if it comes back, scan the scanner test of the action card on the set-up page."
        )
    return "One character is wrong or missing: scan it again."


def _quoted(characters: list[str]) -> str:
    return ", ".join(f'"{character}"' for character in characters[:6])
