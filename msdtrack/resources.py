"""Where the files live that ship with the package: pages, label layouts, the demo scenario."""

from __future__ import annotations

from pathlib import Path

from msdtrack.errors import MsdtrackError

_PACKAGE = Path(__file__).resolve().parent

# In a checkout some folders stand elsewhere than in the wheel, which keeps them all in the package.
_IN_CHECKOUT = {"scenario": "demo/scenario"}


def resource_dir(name: str) -> Path:
    """Return the folder `name` of the installed package or of the checkout it runs from.

    Args:
        name: One of "templates", "labels" and "scenario".

    Returns:
        The first that exists of `<package>/name` (a wheel) and its place in the checkout
        beside the package.

    Raises:
        MsdtrackError: Neither folder exists; the installation is incomplete.
    """
    places = (_PACKAGE / name, _PACKAGE.parent / _IN_CHECKOUT.get(name, name))
    for place in places:
        if place.is_dir():
            return place
    looked = " and ".join(str(place) for place in places)
    raise MsdtrackError(
        f'The folder "{name}" that ships with msdtrack is missing (looked for {looked}). '
        "Install msdtrack again."
    )
