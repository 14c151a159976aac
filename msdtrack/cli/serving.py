"""Serves the pages, the API and the alarm watch; and the demo, which has simulated air."""

from __future__ import annotations

import gc
import logging
import os
import signal
import socket
import sys
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import UTC
from pathlib import Path
from types import FrameType

import click
import waitress  # type: ignore[import-untyped]
from apscheduler.schedulers.background import BackgroundScheduler

from msdtrack.alarms.notices import Notices
from msdtrack.alarms.scheduler import start_scheduler
from msdtrack.cli.demo_notes import first_steps
from msdtrack.cli.session import (
    Session,
    UsageFailure,
    declared,
    pass_session,
    sqlite_path,
    utc_now,
)
from msdtrack.config import Settings
from msdtrack.errors import MsdtrackError, Refused
from msdtrack.ports import choose_port
from msdtrack.resources import resource_dir
from msdtrack.services import demo as demo_workshop
from msdtrack.services.health import ALARM_WATCH
from msdtrack.store import lease
from msdtrack.store.connection import close_store, open_store, read
from msdtrack.store.errors import StoreUnavailable
from msdtrack.store.turns import QUEUE
from msdtrack.web.app import create_app

DEMO_FILE = "msdtrack-demo.db"
SENSORS_EVERY_S = 60
"""How often the simulated sensors are asked; they send every five minutes."""

_CONNECTIONS = 1000

_SWITCH_S = 0.001
"""How long a thread computes while others wait to. Whoever has the one write transaction waits for
that long after each commit and each query, and all who want to write with him; Python's own 5 ms
are longer than a scan."""

_EVERYWHERE = ("0.0.0.0", "::")

_host = click.option("--host", help="The address to serve on; 0.0.0.0 serves the whole network.")
_port = click.option(
    "--port", type=click.IntRange(0, 65535), help="The port to serve on; 0 takes any free one."
)


@click.command()
@_host
@_port
@click.option("--database", help="The database as a URL, such as sqlite:////absolute/path.db.")
@click.option("--threads", type=int, help=declared("threads").help)
@click.option("--site-name", help=declared("site_name").help)
@pass_session
def serve(
    session: Session,
    host: str | None,
    port: int | None,
    database: str | None,
    threads: int | None,
    site_name: str | None,
) -> None:
    """Serve the pages and the API, and watch for alarms, until Ctrl-C.

    The database is made where there is none, and brought up to date after a copy of it. If nobody
    chose a port and the default one is busy, the next free one is taken.
    """
    flags = {
        "host": host,
        "port": port,
        "database": database,
        "threads": threads,
        "site_name": site_name,
    }
    settings = session.settings(**flags)
    chosen = session.origin(declared("port"), **flags) != "default"
    _serve(_with_port(settings, chosen), lambda address: click.echo(f"Serving {address}"))


@click.command()
@_host
@_port
@click.option("--fresh", is_flag=True, help="Forget what was done in the demo and start over.")
@click.option(
    "--folder",
    type=click.Path(file_okay=False, path_type=Path),
    help="Where the demo keeps its database, instead of its usual place.",
)
@pass_session
def demo(
    session: Session, host: str | None, port: int | None, fresh: bool, folder: Path | None
) -> None:
    """Serve an invented workshop in full swing, with simulated air, from a database of its own.

    What is done in it is kept between starts.
    """
    path = (folder or demo_folder()) / DEMO_FILE
    if session.flags.get("database") is not None:
        raise click.UsageError("The demo has a database of its own: leave --database out.")
    flags = {"host": host, "port": port, "database": f"sqlite:///{path.absolute()}"}
    settings = session.settings(**flags)
    chosen = session.origin(declared("port"), **flags) != "default"
    settings = replace(_with_port(settings, chosen), site_name=demo_workshop.demo_site_name())
    path.parent.mkdir(parents=True, exist_ok=True)
    if fresh:
        forget(path)
    open_store(settings.database)
    try:
        if demo_workshop.load(utc_now()):
            click.echo("The demo workshop is loaded.")
        demo_workshop.simulate_readings(utc_now())
        with _simulated_sensors():
            _serve(settings, lambda address: click.echo(first_steps(address, path, utc_now())))
    finally:
        close_store()


def demo_folder() -> Path:
    """Return where the demo keeps its database: beside its scenario in a checkout, else in the
    current folder."""
    beside = resource_dir("scenario").parent
    return beside if beside.name == "demo" else Path.cwd() / ".msdtrack-demo"


def forget(path: Path) -> None:
    """Remove the demo's database.

    Raises:
        Refused: a server is running on it.
    """
    if not path.exists():
        return
    held = None
    # A file that can't be opened, or that a newer msdtrack wrote, is no reason to keep it.
    with suppress(StoreUnavailable):
        open_store(f"sqlite:///{path.absolute()}")
        with read():
            held = lease.lease(ALARM_WATCH)
    close_store()
    if held is not None and held.until > utc_now():
        raise Refused(
            f"The demo is running on {path} already, or was killed a moment ago: stop it, wait "
            f"{held.until - utc_now()} s, then start over."
        )
    for suffix in ("", "-wal", "-shm", QUEUE):
        Path(f"{path}{suffix}").unlink(missing_ok=True)
    # Copies made before its tables were brought up to date, the one made just now among them.
    for copy in path.parent.glob(f"{path.stem}.before-v*{path.suffix}"):
        copy.unlink(missing_ok=True)


def _with_port(settings: Settings, chosen: bool) -> Settings:
    try:
        port = choose_port(settings.host, settings.port, explicit=chosen)
    except MsdtrackError as error:
        raise UsageFailure(error) from error
    if settings.port and port != settings.port:
        click.echo(f"Port {settings.port} is in use by another program: taking {port}.")
    return replace(settings, port=port)


def _serve(settings: Settings, say: Callable[[str], None]) -> None:
    """Serve until a signal ends it."""
    logging.basicConfig(
        stream=sys.stderr, level=logging.WARNING, format="%(asctime)s %(levelname)s %(message)s"
    )
    try:
        notices = Notices(settings, settings.public_url or _address(settings))
    except MsdtrackError as error:
        raise UsageFailure(error) from error
    path = sqlite_path(settings.database)
    if path is not None:
        path.absolute().parent.mkdir(parents=True, exist_ok=True)
        if not path.exists():
            # A slip in the path, or another folder, must not look as if all were lost.
            click.echo(f"There was no database: {path.absolute()} is new and empty.", err=True)
    # That requests wait for a thread for an instant is no trouble, and worth no line each.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    sys.setswitchinterval(_SWITCH_S)
    app = create_app(settings, utc_now)
    try:
        server = waitress.create_server(
            app,
            host=settings.host,
            port=settings.port,
            threads=settings.threads,
            ident="msdtrack",
            # Each wall screen keeps a connection or two; poll, for select ends at 1024.
            connection_limit=_CONNECTIONS,
            asyncore_use_poll=True,
        )
    except OSError as error:
        close_store()
        raise UsageFailure(
            Refused(
                f"Port {settings.port} on {settings.host} can't be had: {error.strerror}. Choose "
                "another --port or --host."
            )
        ) from error
    alarms = start_scheduler(
        utc_now,
        f"{socket.gethostname()} {os.getpid()} {uuid.uuid4().hex[:8]}",
        notices.send_due,
    )
    try:
        with _ended_by_signal():
            _spare_collections()
            say(_address(settings))
            # It returns when a signal has ended it, requests under way answered.
            server.run()
    finally:
        alarms.stop()
        server.close()
        close_store()
    click.echo("Stopped.")


def _spare_collections() -> None:
    """Leave what is there for good out of garbage collection: going through it took 80 ms."""
    gc.collect()
    gc.freeze()


@contextmanager
def _ended_by_signal() -> Iterator[None]:
    """Let SIGTERM end the server as Ctrl-C does."""

    def end(number: int, frame: FrameType | None) -> None:
        raise SystemExit(0)

    before = signal.signal(signal.SIGTERM, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


@contextmanager
def _simulated_sensors() -> Iterator[None]:
    """Let the demo's simulated sensors go on sending; no real air is measured."""
    scheduler = BackgroundScheduler(timezone=UTC)
    scheduler.add_job(
        lambda: demo_workshop.simulate_readings(utc_now()),
        "interval",
        seconds=SENSORS_EVERY_S,
        id="simulated_sensors",
        coalesce=True,
        max_instances=1,
        misfire_grace_time=None,
    )
    scheduler.start()
    try:
        yield
    finally:
        scheduler.shutdown(wait=True)


def _address(settings: Settings) -> str:
    host = socket.gethostname() if settings.host in _EVERYWHERE else settings.host
    return f"http://[{host}]:{settings.port}/" if ":" in host else f"http://{host}:{settings.port}/"
