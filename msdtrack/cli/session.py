"""What every command shares: its settings, the open database, the clock, and how it fails."""

from __future__ import annotations

import json
import os
import time
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import tzinfo
from pathlib import Path
from typing import IO, Any
from urllib.parse import unquote

import click

from msdtrack.config import CONFIG_VARIABLE, SETTINGS, Setting, Settings, load_settings
from msdtrack.errors import BadInput, MsdtrackError, NotFound
from msdtrack.services import catalog
from msdtrack.store.connection import close_store, open_store
from msdtrack.times import local_to_utc

USAGE, REFUSED = 2, 1
"""Exit codes: wrong usage or no port; something refused or not found."""

_SQLITE = "sqlite:///"


def utc_now() -> int:
    """Return the present moment, whole seconds UTC."""
    return int(time.time())


class Failure(click.ClickException):
    """An error as the command line reports it: one line on standard error, then an exit code."""

    exit_code = REFUSED

    def __init__(self, error: MsdtrackError) -> None:
        super().__init__(f"{error.code}: {' '.join(error.message.split())}")

    def show(self, file: IO[Any] | None = None) -> None:
        """Print the line."""
        click.echo(f"msdtrack: {self.message}", err=True)


class UsageFailure(Failure):
    """An error in how the command was called: a setting, a port."""

    exit_code = USAGE


class Commands(click.Group):
    """Commands whose errors become one line and an exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command that was asked for."""
        try:
            return super().invoke(ctx)
        except MsdtrackError as error:
            raise Failure(error) from error


class Session:
    """The settings given with `msdtrack` itself, before the command.

    Args:
        config: the TOML file.
        flags: values by setting name; None is not given.
    """

    def __init__(self, config: Path | None, flags: dict[str, Any]) -> None:
        self.config = config
        self.flags = flags

    def now(self) -> int:
        """Return the present moment, whole seconds UTC."""
        return utc_now()

    def settings(self, **flags: Any) -> Settings:
        """Return the settings in force.

        Args:
            flags: what the command's own options say; they win over those before it.

        Raises:
            UsageFailure: a setting can't be used.
        """
        try:
            return load_settings(self._flags(flags), os.environ, self.config)
        except BadInput as error:
            raise UsageFailure(error) from error

    def origin(self, setting: Setting, **flags: Any) -> str:
        """Return where the value of a setting comes from; "default" if nobody sets it."""
        if self._flags(flags).get(setting.name) is not None:
            return f"--{setting.name.replace('_', '-')}"
        if setting.variable in os.environ:
            return setting.variable
        config = self.config or Path(os.environ.get(CONFIG_VARIABLE) or os.devnull)
        if setting.name in tomllib.loads(config.read_text("utf-8")):
            return str(config)
        return "default"

    @contextmanager
    def opened(self, makes: bool = False) -> Iterator[Settings]:
        """Hold the database open and its tables up to date.

        Args:
            makes: make a database where there is none; otherwise that is an error, for a slip in
                the path must not look like an empty shop.
        """
        settings = self.settings()
        path = sqlite_path(settings.database)
        if path is not None and not makes and not path.exists():
            raise NotFound(
                f"There is no database at {path.absolute()}. Name another one with --database."
            )
        backup_dir = Path(settings.backup_dir) if settings.backup_dir else None
        open_store(settings.database, backup_dir=backup_dir)
        try:
            yield settings
        finally:
            close_store()

    def _flags(self, flags: dict[str, Any]) -> dict[str, Any]:
        given = {name: value for name, value in flags.items() if value is not None}
        return self.flags | given


pass_session = click.make_pass_decorator(Session)


def sqlite_path(database: str) -> Path | None:
    """Return the file of an SQLite database URL, None for any other database."""
    if not database.startswith(_SQLITE):
        return None
    return Path(unquote(database.removeprefix(_SQLITE)))


def declared(name: str) -> Setting:
    """Return a declared setting."""
    return next(setting for setting in SETTINGS if setting.name == name)


def moment_of(text: str | None, tz: tzinfo, option: str) -> int | None:
    """Return the moment that an option names, in local time or with an offset.

    Raises:
        click.BadParameter: it is no time.
    """
    if text is None:
        return None
    try:
        return local_to_utc(text, tz)
    except BadInput as error:
        raise click.BadParameter(error.message, param_hint=option) from error


def place_called(text: str) -> str:
    """Return the code of the place that a person means by its code or its name.

    Raises:
        NotFound: no place, or more than one, is called so.
    """
    places = catalog.places(limit=100_000)
    wanted = text.strip().casefold()
    found = [
        place.code for place in places if wanted in (place.code.casefold(), place.name.casefold())
    ]
    if len(found) != 1:
        listed = ", ".join(f"{place.code} ({place.name})" for place in places) or "none yet"
        many = f"{len(found)} places are" if found else "No place is"
        raise NotFound(f'{many} called "{text}": give a code. There are {listed}.')
    return found[0]


def print_json(answer: Any) -> None:
    """Print an answer for machines."""
    click.echo(json.dumps(answer, ensure_ascii=False, indent=2))


def write_file(path: Path, content: bytes) -> None:
    """Write a file and say so.

    Raises:
        click.FileError: it can't be written.
    """
    try:
        path.write_bytes(content)
    except OSError as error:
        raise click.FileError(str(path), error.strerror) from error
    click.echo(f"Written: {path} ({len(content):,} bytes)", err=True)


json_option: Callable[[Any], Any] = click.option(
    "--json", "as_json", is_flag=True, help="Answer in JSON, as the API does."
)
