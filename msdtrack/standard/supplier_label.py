"""Reads what a scanner typed of a supplier's label: a whole 2D label, or one identifier in bars.

A 2D label is one message: header, fields between separators, trailer. The separators are control
characters, which scanners that type like a keyboard send raw, replace or drop. What stands in
their place is learned from the header, which is the same on every label; where nothing stands
there, the fields run together and the label is refused, for any split would be a guess.

Source: envelope ISO/IEC 15434, format 06; identifiers ANSI MH10.8.2; symbology identifiers
    ISO/IEC 15424. All second-hand.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from msdtrack.errors import BadInput
from msdtrack.standard.data_identifiers import IDENTIFIERS, DataIdentifier, split_identifier

HEADER: Final = "[)>"
FORMAT: Final = "06"

SET_UP_HINT: Final = (
    "Set the scanner to send the separators between the fields (GS, RS and EOT, ASCII 29, 30 and "
    "4) as they are or as another sign; its manual has a bar code for that, often under function "
    "characters or control characters. Until then scan the single bar codes of the label: part, "
    "lot and quantity."
)
"""What to do about a scanner that drops the separators."""

_SYMBOLOGY: Final = re.compile(r"\A\][A-Za-z][0-9A-Za-z]")
# How a scanner may spell GS where it does not send it; the longest first, a single sign last.
_SPELLED_GS: Final = re.compile(
    r"""[<{\[(](?:GS|[Aa][Ll][Tt]\+?029|029|29|0?x1[dD])[>}\])]
      | \\x1[dD] | \\u001[dD] | &\#(?:29|x1[dD]); | \^\]
      | [Aa][Ll][Tt]\+?029 | \#?029
      | [^0-9A-Za-z]""",
    re.VERBOSE,
)
# A separator made only of signs that also stand in part numbers and lots may be part of a value.
_MAY_BE_DATA: Final = re.compile(r"[0-9A-Za-z \-./$+%_\#*:,&()=]*")
# What a scanner makes of EOT, which ends a message; D where Ctrl of Ctrl+D is lost.
_SPELLED_EOT: Final = (
    r"(?:[<{\[(](?:EOT|[Aa][Ll][Tt]\+?004|004|4|0?x04)[>}\])]|\\x04|\\u0004|&\#(?:4|x4);|\^?[Dd]"
    r"|[Aa][Ll][Tt]\+?004|\#?004|[^0-9A-Za-z])?"
)
# Control characters and private-use signs: no value ends in one.
_UNPRINTED_END: Final = re.compile(r"[\x00-\x1f\x7f\ue000-\uf8ff]+\Z")
_LONGEST_RS: Final = 12
"""Most characters that a scanner makes of RS."""


class BadLabel(BadInput):
    """A scan of a supplier's label that can't be read without guessing; nothing was changed."""

    code = "bad_label"


@dataclass(frozen=True, slots=True)
class LabelField:
    """One value of a label.

    Attributes:
        identifier: Its data identifier, for example "1T".
        value: The value, not empty, without control characters.
    """

    identifier: str
    value: str

    @property
    def known(self) -> DataIdentifier | None:
        """What its identifier means; None if it is not among those known here."""
        return IDENTIFIERS.get(self.identifier)


@dataclass(frozen=True, slots=True)
class LabelScan:
    """What one scan of a supplier's label says.

    Attributes:
        fields: The values in the order of the label; none for a plain code.
        text: What was scanned, without the symbology identifier.
        whole: It is a 2D label with all fields, not the bars of one of them.
        doubt: Why the fields must be compared with the print before they are trusted; "" if the
            separators can't be mistaken.
    """

    fields: tuple[LabelField, ...]
    text: str
    whole: bool = False
    doubt: str = ""


def read_label(text: str) -> LabelScan:
    """Returns what a scan says: a 2D label, one identifier with its value, or a plain code.

    Args:
        text: What the scanner typed, without the Enter at its end.

    Raises:
        BadLabel: The separators of a 2D label can't be told from its values, it is written in
            another format, or it says one thing twice in two ways.
    """
    typed = text.strip("\r\n \x00")
    typed = _SYMBOLOGY.sub("", typed)
    if not typed:
        raise BadLabel("Nothing was read: scan it again.")
    if typed.startswith(HEADER):
        fields, doubt = _fields_of(typed)
        return LabelScan(fields, typed, True, doubt)
    _refuse_broken_header(typed)
    if not typed.isprintable():
        raise BadLabel("The scan holds control characters but no 2D label: scan it again.")
    split = split_identifier(typed)
    if split is None or split[0] not in IDENTIFIERS or not split[1].strip():
        return LabelScan((), typed)
    return LabelScan((LabelField(split[0], split[1].strip()),), typed)


def _refuse_broken_header(typed: str) -> None:
    """Raise if this is a 2D label whose first signs another keyboard layout has changed."""
    changed = re.match(r"[^0-9A-Za-z]{3}[^0-9A-Za-z]{0,2}06[^0-9A-Za-z]|.{3}[\x1e\x1d]06", typed)
    if changed:
        raise BadLabel(
            f'A 2D label begins with "{HEADER}", but the scanner typed "{typed[:3]}". Set the '
            "scanner's keyboard layout to that of this computer, then scan again."
        )


def _fields_of(typed: str) -> tuple[tuple[LabelField, ...], str]:
    record, body = _after_header(typed)
    spelled = _SPELLED_GS.match(body)
    if spelled is None:
        raise BadLabel(f"The fields of this label run together. {SET_UP_HINT}")
    group = spelled[0]
    unsure = _MAY_BE_DATA.fullmatch(group) is not None
    pieces = _without_trailer(body[len(group) :], record, group).split(group)
    if record == group and re.fullmatch(_SPELLED_EOT, pieces[-1]):
        pieces.pop()
    read = (_field(piece, group, unsure) for piece in pieces if piece)
    fields = tuple(field for field in read if field.value)
    if not fields:
        raise BadLabel("The label holds no fields: scan it again.")
    _refuse_contradictions(fields, unsure)
    too_long = [
        field.known.meaning
        for field in fields
        if field.known and field.known.longest and len(field.value) > field.known.longest
    ]
    if too_long:
        return fields, f"longer than usual: {', '.join(too_long)}"
    if unsure:
        return fields, f'the scanner types "{group}" between the fields'
    return fields, ""


def _after_header(typed: str) -> tuple[str, str]:
    """Return what stands for RS and what follows the format, or raise for another format."""
    rest = typed[len(HEADER) :]
    other = re.match(r"(.{0,12}?)(\d\d)(?=[^0-9]|029|29)", rest, re.DOTALL)
    at = rest.find(FORMAT)
    if 0 <= at <= _LONGEST_RS and (other is None or at <= other.start(2)):
        return rest[:at], rest[at + len(FORMAT) :]
    if other is not None:
        raise BadLabel(
            f"This label is written in format {other[2]}; only format {FORMAT} is read. Scan the "
            "single bar codes of the label: part, lot and quantity."
        )
    raise BadLabel(f"The beginning of this label can't be read. {SET_UP_HINT}")


def _without_trailer(body: str, record: str, group: str) -> str:
    """Return the fields of the first record, without what ends it and the message."""
    body = _UNPRINTED_END.sub("", body)
    if not record or record == group:
        return body
    may_be_data = _MAY_BE_DATA.fullmatch(record) is not None
    if may_be_data and body.endswith(record):
        raise BadLabel(f"The end of this label can't be told from its last value. {SET_UP_HINT}")
    end = re.search(re.escape(record) + _SPELLED_EOT + r"\Z", body)
    fields = body if end is None else body[: end.start()]
    if record in fields and not may_be_data:
        raise BadLabel(
            "This label holds more than one record, or a value holds the sign that ends one. Scan "
            "the single bar codes of the label: part, lot and quantity."
        )
    return fields


def _field(piece: str, group: str, unsure: bool) -> LabelField:
    split = split_identifier(piece)
    if split is not None and piece.isprintable() and (split[0] in IDENTIFIERS or not unsure):
        return LabelField(split[0], split[1].strip())
    lower = split_identifier(piece.swapcase())
    if lower is not None and lower[0] in IDENTIFIERS:
        raise BadLabel(
            "The letters arrive in the wrong case: switch Caps Lock off, then scan again."
        )
    if unsure:
        raise BadLabel(
            f'The scanner types "{group}" between the fields, and a value of this label holds the '
            f"same. {SET_UP_HINT}"
        )
    raise BadLabel(
        f'"{_shown(piece)}" on this label begins with no data identifier: scan it again. If it '
        f"comes back: {SET_UP_HINT[0].lower()}{SET_UP_HINT[1:]}"
    )


def _refuse_contradictions(fields: tuple[LabelField, ...], unsure: bool) -> None:
    seen: dict[str, str] = {}
    for field in fields:
        before = seen.setdefault(field.identifier, field.value)
        known = field.known
        if before != field.value and (known is None or known.fact != "free"):
            words = known.meaning if known else field.identifier
            why = SET_UP_HINT if unsure else "Scan its single bar codes instead."
            raise BadLabel(
                f'The label gives two values for {words}: "{_shown(before)}" and '
                f'"{_shown(field.value)}". {why}'
            )


def _shown(text: str) -> str:
    printable = "".join(sign if sign.isprintable() else "·" for sign in text)
    return printable if len(printable) <= 30 else printable[:29] + "…"
