"""What the scans of one supplier's label say together: part, lot, quantity and the rest."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from msdtrack.digits import whole_number
from msdtrack.errors import BadInput, NotFound, Refused
from msdtrack.printing.codes import BadCode, Code, CodeKind, read_code
from msdtrack.services.people import badge
from msdtrack.standard.data_identifiers import IDENTIFIERS, LabelDate, read_date
from msdtrack.standard.supplier_label import BadLabel, LabelField, LabelScan, read_label
from msdtrack.store import carriers, catalog, goods_in, places

NOT_NEEDED = "none"
"""The answer that a plain code is of no use here."""

PLAIN_MEANINGS: Mapping[str, str] = {
    "P": "our part number",
    "1P": "the maker's part number",
    "1T": "the lot",
    "Q": "the quantity",
    "3S": "the number of the package",
}
"""What a code without an identifier can be, by the identifier it would have."""

_WITH_UNIT = re.compile(r"(\d{1,9})(?:PCS?|PCE|EA|ST)?", re.ASCII)


@dataclass(slots=True)
class SupplierLabel:
    """What was read of one label so far.

    Attributes:
        scans: the scans that count: those of our own codes are in `place` and `person`.
        values: the values by what they tell, as in `IDENTIFIERS`; the first identifier counts.
        quantity: pieces; None is not read.
        date: the first date or date code, as coded.
        date_code: the same with its identifier, for the record.
        expiry: expiry or best before date.
        whole: a 2D label was among the scans.
        place, person: codes of ours that were scanned in between.
        unclear: plain codes, or codes that can mean two things, each with what it can be.
        cautions: what must be compared with the print.
        more: values that are only shown, each with its meaning.
    """

    scans: list[str] = field(default_factory=list)
    values: dict[str, str] = field(default_factory=dict)
    quantity: int | None = None
    date: LabelDate | None = None
    date_code: str | None = None
    expiry: LabelDate | None = None
    whole: bool = False
    doubtful: bool = False
    place: str | None = None
    person: str | None = None
    unclear: dict[str, tuple[LabelField, ...]] = field(default_factory=dict)
    cautions: list[str] = field(default_factory=list)
    more: list[tuple[str, str]] = field(default_factory=list)

    @property
    def lot(self) -> str | None:
        """The lot: the supplier's, else the one the customer gave."""
        return self.values.get("lot") or self.values.get("customer_lot")


def gather(scans: Sequence[str], said: Mapping[str, str]) -> SupplierLabel:
    """Return what the scans of one label say together.

    Args:
        scans: what the scanner typed, in order.
        said: answers to what a code is, by `what:` and the code: data identifier and value.

    Raises:
        BadLabel: a scan can't be read, or contradicts one before it.
        BadInput: an answer is none that was offered.
    """
    label = SupplierLabel()
    for scan in scans:
        own = own_code(scan)
        if own is not None:
            _take_own(label, own)
            continue
        read = read_label(scan)
        if read.text in label.scans:
            continue
        label.scans.append(read.text)
        if read.whole:
            label.whole = True
            if read.doubt:
                label.doubtful = True
                label.cautions.append(f"Compare each value with the print: {read.doubt}.")
            for one in read.fields:
                _take(label, one)
        else:
            _take_single(label, read, said)
    return label


def own_code(scan: str) -> Code | None:
    """Return the code of ours that a scan is; None if it is a supplier's."""
    try:
        code = read_code(scan)
    except BadCode:
        return None
    if not _is_on_file(code):
        return None
    # A customer's part number behind its identifier P can look like the code of a place.
    if code.kind is CodeKind.PLACE and catalog.parts_by_number([code.text[1:]]):
        return None
    return code


def _is_on_file(code: Code) -> bool:
    if code.kind is CodeKind.ACTION:
        return True
    if code.kind is CodeKind.CARRIER:
        return bool(carriers.carriers_by_code([code.text]))
    if code.kind is CodeKind.BAG:
        return bool(carriers.codes_that_had_bag(code.text))
    try:
        if code.kind is CodeKind.PLACE:
            places.place(code.text)
        elif code.kind is CodeKind.PERSON:
            catalog.person(code.text)
        else:
            return False
    except NotFound:
        return False
    return True


def _take_own(label: SupplierLabel, code: Code) -> None:
    if code.kind is CodeKind.PLACE:
        label.place = code.text
    elif code.kind is CodeKind.PERSON:
        try:
            label.person = badge(code.text).code
        except Refused as error:
            raise BadLabel(error.message) from None
    elif code.kind is CodeKind.ACTION:
        raise BadLabel("At goods-in only Done and Undo of the action card are used.")
    else:
        raise BadLabel(
            f"{code.text} is the code of a {code.kind.word} of ours, so that one is on file "
            "already. Scan the supplier's label."
        )


def _take_single(label: SupplierLabel, read: LabelScan, said: Mapping[str, str]) -> None:
    """Take the bars of one value; what they can mean is decided by what is on file, or asked."""
    can_be = _meanings(read)
    if len(can_be) == 1:
        _take(label, can_be[0])
        return
    answer = said.get(f"what:{read.text}")
    if answer is None:
        label.unclear[read.text] = can_be
    elif answer != NOT_NEEDED:
        chosen = [one for one in can_be if one.identifier + one.value == answer]
        if not chosen:
            raise BadInput(f"{read.text} can't be that: choose one of those offered.")
        _take(label, chosen[0])


def _meanings(read: LabelScan) -> tuple[LabelField, ...]:
    """Return what a code can be: what is on file as a whole, else what its identifier says."""
    text = read.text
    whole = [LabelField(each, text) for each in ("P", "1P") if _on_file(each, text)]
    if read.fields:
        said = read.fields[0]
        known = _on_file(said.identifier, said.value)
        # The identifier P is also the first letter of many a number.
        if whole and said.identifier in ("P", "1P") and not known:
            return (whole[0],)
        return (said, *whole)
    if whole:
        return (whole[0],)
    number = whole_number(text, 9)
    order = ("P", "1P", "1T", "3S") if number is None else ("Q", "1T", "P", "1P", "3S")
    return tuple(LabelField(each, text) for each in order)


def _on_file(meaning: str, text: str) -> bool:
    if meaning == "P":
        return bool(catalog.parts_by_number([text]))
    return meaning == "1P" and bool(goods_in.maker_parts(maker_number=text))


def _take(label: SupplierLabel, one: LabelField) -> None:
    known = IDENTIFIERS.get(one.identifier)
    if known is None:
        label.more.append((f"identifier {one.identifier}", one.value))
        return
    if known.fact in ("quantity", "quantity_unit"):
        _take_quantity(label, one, known.fact)
    elif known.fact == "date":
        _take_date(label, one)
    elif known.fact == "expiry":
        found = _date(label, one)
        if found is not None and label.expiry is None:
            label.expiry = found
    elif known.fact in _ONLY_SHOWN:
        label.more.append((known.meaning, one.value))
    else:
        before = label.values.setdefault(known.fact, one.value)
        _refuse_other(known.meaning.split(",")[0], before, one.value)


def _take_quantity(label: SupplierLabel, one: LabelField, fact: str) -> None:
    match = _WITH_UNIT.fullmatch(one.value)
    plain = whole_number(one.value, 9) is not None
    if (fact == "quantity" and not plain) or match is None or int(match[1]) < 1:
        label.cautions.append(f'The quantity "{one.value}" is no number of pieces: count them.')
        return
    pieces = int(match[1])
    if label.quantity is not None:
        _refuse_other("quantity", str(label.quantity), str(pieces))
    label.quantity = pieces


def _take_date(label: SupplierLabel, one: LabelField) -> None:
    found = _date(label, one)
    coded = one.identifier + one.value
    if label.date_code is None or (label.date is None and found is not None):
        label.date, label.date_code = found, coded
    elif coded != label.date_code:
        known = one.known
        words = found.words if found else one.value
        label.more.append((known.meaning if known else "date", words))


def _date(label: SupplierLabel, one: LabelField) -> LabelDate | None:
    try:
        return read_date(one.identifier, one.value)
    except BadInput as error:
        label.cautions.append(error.message)
        return None


def _refuse_other(what: str, before: str, now: str) -> None:
    if before != now:
        raise BadLabel(
            f'This scan says {what} "{now}", the ones before it "{before}". Is it another bag? '
            "Finish or drop the first one, then scan this again."
        )


_ONLY_SHOWN = {
    "revision", "country", "order", "order_line", "max_rh", "min_rh", "free",
}  # fmt: skip
