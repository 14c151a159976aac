"""Files of parts, carriers and readings."""

from __future__ import annotations

from typing import Any, BinaryIO

import click

from msdtrack.cli.session import REFUSED, Session, json_option, pass_session, print_json
from msdtrack.errors import BadInput
from msdtrack.services import importing
from msdtrack.services.importing import Imported
from msdtrack.times import zone

_file = click.argument("file", type=click.File("rb"))
_dry_run = click.option("--dry-run", is_flag=True, help="Only say what would become of each line.")


@click.group("import")
def import_files() -> None:
    """Take in a file: separated by commas, semicolons or tabs, its first line naming the columns.

    The columns are the fields of the API. With semicolons or tabs numbers may have a decimal
    comma. Every good line is kept; each refused line is listed with its number and why, and then
    the exit code is 1. Sending a file twice adds nothing. A file called - is standard input.
    """


@import_files.command("parts")
@_file
@_dry_run
@json_option
@pass_session
def parts(session: Session, file: BinaryIO, dry_run: bool, as_json: bool) -> None:
    """Put parts on file: at least the columns number and msl."""
    with session.opened(makes=True):
        done = importing.import_parts(_text(file), session.now(), dry_run)
    _report(done, "parts", dry_run, as_json)


@import_files.command("carriers")
@_file
@_dry_run
@json_option
@pass_session
def carriers(session: Session, file: BinaryIO, dry_run: bool, as_json: bool) -> None:
    """Receive carriers: at least the columns part, lot, quantity and kind.

    Without sealed_on a carrier's history counts as unknown. Times without an offset are local.
    """
    with session.opened(makes=True) as settings:
        tz = zone(settings.timezone)
        done = importing.import_carriers(_text(file), tz, session.now(), dry_run)
    _report(done, "carriers", dry_run, as_json)


@import_files.command("readings")
@_file
@_dry_run
@json_option
@pass_session
def readings(session: Session, file: BinaryIO, dry_run: bool, as_json: bool) -> None:
    """Store readings: the columns place, at, temp_c and rh_pct.

    Times without an offset are local. A place is its code or its name.
    """
    with session.opened(makes=True) as settings:
        tz = zone(settings.timezone)
        done = importing.import_readings(_text(file), tz, session.now(), dry_run)
    _report(done, "readings", dry_run, as_json)


def _text(file: BinaryIO) -> str:
    try:
        return file.read().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInput("The file is no UTF-8 text: save it as CSV UTF-8.") from error


def _report(done: Imported, what: str, dry_run: bool, as_json: bool) -> None:
    if as_json:
        print_json(_answer(done, what, dry_run))
    else:
        for refused in done.refused:
            click.echo(f"line {refused.row}: {refused.message}", err=True)
        for taken in done.taken:
            if what == "carriers" and not dry_run:
                said = "received as" if taken.new else "was received before as"
                click.echo(f"line {taken.row}: {said} {taken.name}")
        click.echo(
            f"{'Dry run, nothing kept: ' if dry_run else ''}{done.created} {what} new, "
            f"{done.unchanged} on file before, {len(done.refused)} refused"
        )
    if done.refused:
        click.get_current_context().exit(REFUSED)


def _answer(done: Imported, what: str, dry_run: bool) -> dict[str, Any]:
    counts = ("accepted", "duplicates") if what == "readings" else ("created", "unchanged")
    answer: dict[str, Any] = {
        counts[0]: done.created,
        counts[1]: done.unchanged,
        "refused": [{"row": one.row, "message": one.message} for one in done.refused],
        "dry_run": dry_run,
    }
    if what != "readings":
        answer["items"] = [
            {
                "row": one.row,
                "number" if what == "parts" else "code": one.name,
                "result": "created" if one.new else "unchanged",
            }
            for one in done.taken
        ]
    return answer
