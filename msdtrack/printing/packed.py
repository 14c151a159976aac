"""A finished PDF in less space: its small objects go into one compressed stream.

Source: ISO 32000-1:2008, 7.5.7 (object streams) and 7.5.8 (cross-reference streams), PDF 1.5.
"""

from __future__ import annotations

import re
import zlib
from itertools import pairwise

_ENTRY_BYTES = (1, 4, 2)
_FREE, _IN_FILE, _IN_STREAM = 0, 1, 2
_SPACE_BEFORE_DELIMITER = re.compile(rb"\s+(?=[/<>\[])")


def packed(pdf: bytes) -> bytes:
    """Return the same document with every object but its streams packed together.

    Args:
        pdf: A document of version 1.5 or later that is not encrypted and has one cross-reference
            table, as fpdf2 writes them.
    """
    objects, trailer = _taken_apart(pdf)
    out = bytearray(pdf[: pdf.index(b"1 0 obj")])
    numbers: list[int] = []
    bodies: list[bytes] = []
    holder, table = max(objects) + 1, max(objects) + 2
    places = {0: (_FREE, 0, 0xFFFF)}
    for number, body in objects.items():
        if body.endswith(b"endstream"):
            places[number] = (_IN_FILE, len(out), 0)
            entries, _, data = body.partition(b"stream\n")
            out += _stream(number, entries, data.removesuffix(b"\nendstream"))
        else:
            places[number] = (_IN_STREAM, holder, len(numbers))
            numbers.append(number)
            bodies.append(body)
    places[holder] = (_IN_FILE, len(out), 0)
    out += _object_stream(holder, numbers, bodies)
    places[table] = (_IN_FILE, len(out), 0)
    rows = (places.get(number, (_FREE, 0, 0)) for number in range(table + 1))
    widths = "/W [{} {} {}]".format(*_ENTRY_BYTES).encode()
    entries = b"<</Type /XRef %s /Size %d %s>>" % (widths, table + 1, trailer)
    out += _stream(table, entries, b"".join(map(_row, rows)))
    return bytes(out) + b"startxref\n%d\n%%%%EOF\n" % places[table][1]


def _taken_apart(pdf: bytes) -> tuple[dict[int, bytes], bytes]:
    """Return the objects by number, in the order of the file, and the trailer's entries."""
    start = int(pdf[pdf.rindex(b"startxref") + 9 : pdf.rindex(b"%%EOF")])
    table, trailer = pdf[start:].split(b"trailer", 1)
    _, first, *lines = table.splitlines()
    first_number = int(first.split()[0])
    numbers = {
        int(line[:10]): number
        for number, line in enumerate(lines, first_number)
        if line[17:18] == b"n"
    }
    objects = {}
    for offset, end in pairwise([*sorted(numbers), start]):
        _, _, body = pdf[offset:end].partition(b" obj\n")
        objects[numbers[offset]] = body[: body.rindex(b"\nendobj")]
    kept = re.findall(rb"/(?:Root|Info) \d+ \d+ R|/ID \[.*?\]", trailer, re.DOTALL)
    return objects, b" ".join(kept)


def _object_stream(number: int, numbers: list[int], bodies: list[bytes]) -> bytes:
    heads, at = [], 0
    for each, body in zip(numbers, bodies, strict=True):
        heads.append(b"%d %d" % (each, at))
        at += len(body) + 1
    head = b" ".join(heads) + b"\n"
    entries = b"<</Type /ObjStm /N %d /First %d>>" % (len(numbers), len(head))
    return _stream(number, entries, head + b"\n".join(bodies))


def _stream(number: int, entries: bytes, data: bytes) -> bytes:
    """Return a stream object, compressed if it is not yet."""
    if b"/Filter" not in entries:
        data = zlib.compress(data, 9)
        inner = re.sub(rb"/Length \d+", b"", entries).strip().removesuffix(b">>")
        entries = b"%s /Filter /FlateDecode /Length %d>>" % (inner, len(data))
    short = _SPACE_BEFORE_DELIMITER.sub(b"", entries).strip()
    return b"%d 0 obj\n%s\nstream\n%s\nendstream\nendobj\n" % (number, short, data)


def _row(place: tuple[int, int, int]) -> bytes:
    return b"".join(
        value.to_bytes(size, "big") for value, size in zip(place, _ENTRY_BYTES, strict=True)
    )
