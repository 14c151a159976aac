"""A lean client: one kept connection, bytes made beforehand, many connections in one loop."""

from __future__ import annotations

import selectors
import socket
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Answer:
    """What a server answered. `seconds`: from sending to the last byte."""

    status: int
    body: bytes
    seconds: float


class Connection:
    """One kept connection to a server at 127.0.0.1."""

    def __init__(self, port: int) -> None:
        self.host = f"127.0.0.1:{port}"
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=60)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._sent_at = 0.0
        self._got = b""

    def request(self, method: str, path: str, body: bytes = b"") -> bytes:
        """Return a request as bytes."""
        head = f"{method} {path} HTTP/1.1\r\nHost: {self.host}\r\n"
        if body:
            head += (
                f"Origin: http://{self.host}\r\nContent-Type: application/json\r\n"
                f"Content-Length: {len(body)}\r\n"
            )
        return head.encode() + b"\r\n" + body

    def send(self, request: bytes) -> None:
        """Send a request."""
        self._got = b""
        self._sent_at = time.perf_counter()
        self.socket.sendall(request)

    def receive(self) -> Answer | None:
        """Take what has come; return the answer once it is whole."""
        got = self.socket.recv(1 << 18)
        if not got:
            raise ConnectionError("the server hung up")
        self._got += got
        head_ends = self._got.find(b"\r\n\r\n")
        if head_ends < 0:
            return None
        at = self._got.find(b"Content-Length: ")
        length = int(self._got[at + 16 : self._got.find(b"\r\n", at)])
        if len(self._got) < head_ends + 4 + length:
            return None
        seconds = time.perf_counter() - self._sent_at
        return Answer(int(self._got[9:12]), self._got[head_ends + 4 :], seconds)

    def ask(self, request: bytes) -> Answer:
        """Send a request and wait for its answer."""
        self.send(request)
        while (answer := self.receive()) is None:
            pass
        return answer

    def close(self) -> None:
        """Hang up."""
        self.socket.close()


Client = tuple[Connection, Iterator[bytes], Callable[[Answer], None]]
"""A connection, the requests it sends one after the other, and what takes the answers."""


def at_once(clients: list[Client]) -> float:
    """Let clients ask side by side, each its next when its last was answered; return the seconds.

    One loop, no threads: the client must not be what is measured.
    """
    waiting = selectors.DefaultSelector()
    start = time.perf_counter()
    for client in clients:
        first = next(client[1], None)
        if first is not None:
            waiting.register(client[0].socket, selectors.EVENT_READ, client)
            client[0].send(first)
    while waiting.get_map():
        for key, _ in waiting.select():
            connection, requests, take = key.data
            answer = connection.receive()
            if answer is None:
                continue
            take(answer)
            following = next(requests, None)
            if following is None:
                waiting.unregister(connection.socket)
            else:
                connection.send(following)
    return time.perf_counter() - start
