"""Receivers of notices on this computer: a web server, and a mail server that takes everything."""

from __future__ import annotations

import email
import email.policy
import json
import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


@dataclass
class Web:
    """A web server that keeps what is posted to it.

    Args:
        port: where it listens.
        status: what it answers; other than 200 it keeps nothing.
        asked: how many requests came.
        got: the JSON bodies.
    """

    port: int = 0
    status: int = 200
    asked: int = 0
    got: list[dict[str, Any]] = field(default_factory=list)

    @property
    def url(self) -> str:
        """Return its address as Apprise has it."""
        return f"json://127.0.0.1:{self.port}/alarms"


@contextmanager
def web_sink() -> Iterator[Web]:
    """Run a web server."""
    sink = Web()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            sink.asked += 1
            if sink.status == 200:
                sink.got.append(json.loads(body))
            self.send_response(sink.status)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    with _running(ThreadingHTTPServer(("127.0.0.1", 0), Handler)) as port:
        sink.port = port
        yield sink


@dataclass
class Mail:
    """A mail server that keeps what it is sent.

    Args:
        port: where it listens.
        receivers: of each mail, as the sender's program named them.
        got: the mails.
    """

    port: int = 0
    receivers: list[list[str]] = field(default_factory=list)
    got: list[EmailMessage] = field(default_factory=list)


@contextmanager
def mail_sink() -> Iterator[Mail]:
    """Run a mail server: as much of SMTP as a client without encryption needs (RFC 5321)."""
    sink = Mail()

    class Handler(socketserver.StreamRequestHandler):
        def say(self, line: str) -> None:
            self.wfile.write(f"{line}\r\n".encode())

        def handle(self) -> None:
            self.say("220 sink")
            receivers: list[str] = []
            while line := self.rfile.readline().decode().strip():
                verb = line.split(":")[0].split(" ")[0].upper()
                if verb == "RCPT":
                    receivers.append(line.partition("<")[2].partition(">")[0])
                if verb == "DATA":
                    self.say("354 go on")
                    lines = iter(self.rfile.readline, b".\r\n")
                    raw = b"".join(one[1:] if one.startswith(b"..") else one for one in lines)
                    message = email.message_from_bytes(raw, policy=email.policy.default)
                    assert isinstance(message, EmailMessage)
                    sink.got.append(message)
                    sink.receivers.append(receivers)
                    receivers = []
                self.say("221 bye" if verb == "QUIT" else "250 ok")
                if verb == "QUIT":
                    return

    with _running(socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler)) as port:
        sink.port = port
        yield sink


@contextmanager
def _running(server: socketserver.BaseServer) -> Iterator[int]:
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    try:
        yield int(server.server_address[1])  # type: ignore[index]
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
