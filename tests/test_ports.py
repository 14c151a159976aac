"""Ports: a busy default gives way, a port that a person asked for does not. Real sockets."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest

from msdtrack.errors import BadInput, Refused
from msdtrack.ports import choose_port

HOST = "127.0.0.1"


@pytest.fixture
def busy() -> Iterator[int]:
    """A port on which something listens already."""
    with socket.socket() as listener:
        listener.bind((HOST, 0))
        listener.listen()
        yield listener.getsockname()[1]


def _free() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


@pytest.mark.parametrize("explicit", [True, False])
def test_a_free_port_is_taken_as_it_is(explicit: bool) -> None:
    """A free port is the answer, and can be listened on."""
    port = _free()
    assert choose_port(HOST, port, explicit) == port
    with socket.socket() as listener:
        listener.bind((HOST, port))


def test_a_busy_default_gives_way_to_the_next_free_one(busy: int) -> None:
    """The answer is a later port that can be listened on."""
    port = choose_port(HOST, busy, explicit=False)
    assert busy < port <= busy + 50
    with socket.socket() as listener:
        listener.bind((HOST, port))


def test_two_busy_ports_are_both_passed_over(busy: int) -> None:
    """The search goes on past a second busy port."""
    with socket.socket() as second:
        following = choose_port(HOST, busy, explicit=False)
        second.bind((HOST, following))
        second.listen()
        assert choose_port(HOST, busy, explicit=False) > following


def test_a_busy_port_that_was_asked_for_is_refused_with_words(busy: int) -> None:
    """Nobody is moved to another port than the one they named."""
    with pytest.raises(Refused, match=rf"Port {busy} on {HOST} is in use by another program"):
        choose_port(HOST, busy, explicit=True)


def test_port_zero_is_any_free_one() -> None:
    """Zero gives a real number."""
    assert choose_port(HOST, 0, explicit=True) > 0


@pytest.mark.parametrize("port", [-1, 65536])
def test_a_number_that_is_no_port_is_refused(port: int) -> None:
    """Ports end at 65535 (RFC 9293 section 3.1: 16 bits)."""
    with pytest.raises(BadInput, match="no port number"):
        choose_port(HOST, port, explicit=True)


def test_an_address_of_another_machine_is_refused_with_words() -> None:
    """192.0.2.1 is kept for documentation (RFC 5737): no machine has it."""
    with pytest.raises(BadInput, match="no address of this machine"):
        choose_port("192.0.2.1", 8033, explicit=False)
