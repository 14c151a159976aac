"""The names under which browsers may ask this server.

A page elsewhere can have its own name lead to this machine (DNS rebinding); its browser then takes
what is here for that page's own. Such a name is none of these: it has a dot, and is no IP address.
"""

from __future__ import annotations

import re
import socket
from functools import cache
from ipaddress import ip_address
from urllib.parse import urlsplit

from msdtrack.config import Settings

_HOST = re.compile(r"(\[[^]]+]|[^][:@/]+)(:\d*)?")
"""A name, or an address as URLs write it, and a port (RFC 3986, 3.2)."""

_LABEL = re.compile(r"[\w-]+")


def own_names(settings: Settings) -> frozenset[str]:
    """Return the names that the machine and the settings give this server, in lower case."""
    machine = socket.gethostname().lower()
    short = machine.partition(".")[0]
    public = urlsplit(settings.public_url).hostname or ""
    # A browser sends a name with letters beyond ASCII in this form.
    public = public.encode("idna").decode("ascii")
    names = (settings.host.lower(), public, machine, f"{short}.local")
    return frozenset(name.removesuffix(".") for name in names if name)


def is_own(host: str, names: frozenset[str]) -> bool:
    """Return whether a request may ask for a host.

    Args:
        host: the header Host.
        names: the `own_names`.
    """
    found = _HOST.fullmatch(host)
    if found is None:
        return False
    name = found[1].lower().removesuffix(".")
    # Nobody elsewhere can have a name without a dot: it is one of this network.
    if _LABEL.fullmatch(name) or name in names or name.endswith(".localhost"):
        return True
    return _is_address(name.strip("[]")) or name == full_name()


@cache
def full_name() -> str:
    """Return the machine's name with its domain.

    It is asked for once, and only when a request came under a name that is none of the others: DNS
    can take seconds to tell, or may not be up yet when the server starts.
    """
    return socket.getfqdn().lower().removesuffix(".")


def _is_address(name: str) -> bool:
    try:
        ip_address(name)
    except ValueError:
        return False
    return True
