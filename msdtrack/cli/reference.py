"""The published tables, the action card, a backup copy and the settings."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from urllib.parse import urlsplit

import click

from msdtrack.cli.session import (
    Session,
    json_option,
    pass_session,
    print_json,
    write_file,
)
from msdtrack.cli.text import WIDTH, aligned, described
from msdtrack.config import SETTINGS, Setting
from msdtrack.phrases import counted
from msdtrack.services import labelling, standings
from msdtrack.standard.tables import CHECK_YOUR_COPY, Table, fingerprint, published_tables
from msdtrack.store.backup import backup_to


@click.command()
@json_option
def tables(as_json: bool) -> None:
    """Show every published table as used, with its source and how far it is corroborated."""
    if as_json:
        print_json(
            {
                "note": CHECK_YOUR_COPY,
                "fingerprint": fingerprint(),
                "items": [asdict(table) for table in published_tables()],
            }
        )
        return
    click.echo(click.wrap_text(CHECK_YOUR_COPY, WIDTH))
    click.echo(f"Fingerprint of the figures: {fingerprint()}")
    for table in published_tables():
        click.echo(f"\n{_table_text(table)}")


def _table_text(table: Table) -> str:
    about = described(
        [
            ("clause", f"{table.clause} ({table.edition})"),
            ("source", f"{table.status}: {table.source}"),
            ("note", table.note),
        ]
    )
    title = f"{table.title}\n{'=' * len(table.title)}"
    return f"{title}\n{about}\n\n{aligned(table.columns, table.rows)}"


@click.command()
@click.option(
    "-o",
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    default="action-card.pdf",
    show_default=True,
    help="The PDF to write.",
)
@pass_session
def card(session: Session, output: Path) -> None:
    """Make the action card as a PDF: what a scanner can ask for."""
    with session.opened():
        made = labelling.action_card_pdf(session.now())
    write_file(output, made)


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@json_option
@pass_session
def backup(session: Session, file: Path, as_json: bool) -> None:
    """Copy the database to FILE while it is in use, and check the copy."""
    with session.opened():
        report = backup_to(file)
    if as_json:
        print_json(asdict(report) | {"path": str(report.path)})
        return
    rows = sum(report.rows.values())
    click.echo(
        f"Written and checked: {report.path}, {report.bytes:,} bytes, {rows:,} rows in "
        f"{len(report.rows)} tables, schema {report.schema_version}"
    )


@click.command()
@pass_session
def rebuild(session: Session) -> None:
    """Drop the stored standings behind the watch list and compute them anew from the log."""
    with session.opened():
        kept = standings.rebuild(session.now())
    click.echo(f"Computed anew: the standings of {counted(kept, 'carrier')}")


@click.command()
@json_option
@pass_session
def settings(session: Session, as_json: bool) -> None:
    """Show every setting, its value, where that comes from, and what it does."""
    values = session.settings()
    listed = [
        {
            "name": one.name,
            "value": _shown(one, getattr(values, one.name)),
            "from": session.origin(one),
            "variable": one.variable,
            "help": one.help,
        }
        for one in SETTINGS
    ]
    if as_json:
        print_json({"items": listed})
        return
    click.echo(
        "\n\n".join(
            described(
                [
                    (str(one["name"]), str(one["value"]) or '""'),
                    ("", ""),
                    ("  from", str(one["from"])),
                    ("  variable", str(one["variable"])),
                    ("  does", str(one["help"])),
                ]
            )
            for one in listed
        )
    )


def _shown(setting: Setting, value: str | int) -> str | int:
    """Return a value without its secrets."""
    if setting.name in ("secret_key", "notice_urls") and value:
        return "(set, not shown)"
    if setting.name == "database" and isinstance(value, str):
        password = urlsplit(value).password
        return value if not password else value.replace(f":{password}@", ":***@")
    return value
