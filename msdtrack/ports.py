"""Which port a server listens on."""

from __future__ import annotations

import socket
import sys

from msdtrack.errors import BadInput, Refused

_HIGHEST = 65535
_TRIES = 50


def _bind_once(host: str, port: int) -> int:
    """Take the port for a moment and return its number; OSError if it can't be had."""
    family, kind, proto, _, address = socket.getaddrinfo(
        host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
    )[0]
    with socket.socket(family, kind, proto) as probe:
        # Elsewhere than on Windows this only passes over connections that are closing; on Windows
        # it would share a port that another program listens on.
        if sys.platform != "win32":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        probe.bind(address)
        return int(probe.getsockname()[1])


def choose_port(host: str, port: int, explicit: bool) -> int:
    """Return the port to listen on: `port` if it is free, else the next free one.

    Args:
        host: The address to listen on, a name or a number.
        port: The port wanted, 0 to 65535; 0 is any free one.
        explicit: Whether a person asked for this very port; then no other one is taken.

    Raises:
        BadInput: The port is no port number, or the host is no address of this machine.
        Refused: The port is in use or not allowed, or none of the 50 that follow is free.
    """
    if not 0 <= port <= _HIGHEST:
        raise BadInput(f"{port} is no port number: 0 to {_HIGHEST}.")
    try:
        _bind_once(host, 0)
    except OSError as error:
        raise BadInput(f'"{host}" is no address of this machine ({error.strerror}).') from error
    last = port if explicit else min(port + _TRIES, _HIGHEST)
    for candidate in range(port, last + 1):
        try:
            return _bind_once(host, candidate)
        except PermissionError as error:
            raise Refused(
                f"Port {candidate} on {host} is kept for the system. Choose one above 1023."
            ) from error
        except OSError:
            continue
    if explicit:
        raise Refused(
            f"Port {port} on {host} is in use by another program. "
            "Stop that program or choose another port."
        )
    raise Refused(f"No port from {port} to {last} on {host} is free. Choose one with --port.")
