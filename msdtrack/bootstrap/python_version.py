"""Whether this Python can run msdtrack; old Pythons read this file and so can say that they can't.

Written in what Python 2.7 understands: no f-strings, no annotations, ASCII only.
"""

OLDEST = (3, 11)


def why_too_old(version_info):  # type: ignore[no-untyped-def]
    """Return what a person should read if this Python is too old, or None if it will do.

    Args:
        version_info: The first numbers of the Python's version, as in `sys.version_info`.
    """
    if tuple(version_info[:2]) >= OLDEST:
        return None
    return "msdtrack needs Python %d.%d or newer; this is %d.%d. Start it with a newer one." % (
        OLDEST + tuple(version_info[:2])
    )
