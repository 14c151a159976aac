"""Pages as a PDF, by a library that is loaded when the first PDF is wanted.

It takes a quarter of a server's time to start and of its memory, and many a server never prints
one.
"""

from __future__ import annotations

from collections.abc import Iterable

from msdtrack.printing.marks import Page


def pages_pdf(pages: Iterable[Page], dpi: int, title: str) -> bytes:
    """Return a PDF with one page for each; see `vector.pages_pdf`."""
    from msdtrack.printing import vector

    return vector.pages_pdf(pages, dpi, title)
