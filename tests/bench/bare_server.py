"""The least that could answer a scan: a Flask view on waitress that commits one row and no more.

`python -m tests.bench.bare_server DATABASE` prints its port and serves until it is stopped.
"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import flask
import psycopg
import waitress  # type: ignore[import-untyped]

PATH = "/scan"

_SQLITE = "sqlite:///"


@contextmanager
def bare_server(url: str) -> Iterator[int]:
    """Serve an empty database so, in a process of its own, and give the port."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.bench.bare_server", url], stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        yield int(process.stdout.readline())
    finally:
        process.terminate()
        process.wait(30)


def _connect(url: str) -> Any:
    if not url.startswith(_SQLITE):
        return psycopg.connect(url, autocommit=True)
    database = sqlite3.connect(
        url.removeprefix(_SQLITE), isolation_level=None, check_same_thread=False
    )
    database.execute("PRAGMA journal_mode = WAL")
    return database


def _app(url: str) -> flask.Flask:
    app = flask.Flask(__name__)
    database, one_writer = _connect(url), threading.Lock()
    database.execute("CREATE TABLE scan (id TEXT, code TEXT, at INT)")
    mark = "?" if url.startswith(_SQLITE) else "%s"
    sql = f"INSERT INTO scan VALUES ({mark}, {mark}, {mark})"

    @app.post(PATH)
    def scan() -> flask.Response:
        sent = flask.request.get_json()
        with one_writer:
            database.execute(sql, (sent["id"], sent["code"], sent["at"]))
        return flask.jsonify(id=sent["id"])

    return app


def _main() -> None:
    server = waitress.create_server(_app(sys.argv[1]), host="127.0.0.1", port=0)
    print(server.effective_port, flush=True)
    server.run()


if __name__ == "__main__":
    _main()
