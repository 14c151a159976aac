"""The command `msdtrack`: serving, files in and out, and a carrier's state on a terminal."""

from __future__ import annotations

from pathlib import Path

import click

from msdtrack import __version__
from msdtrack.cli.carriers import label, state, watch, working
from msdtrack.cli.imports import import_files
from msdtrack.cli.reference import backup, card, rebuild, settings, tables
from msdtrack.cli.serving import demo, serve
from msdtrack.cli.session import Commands, Session

__all__ = ["main"]

EPILOG = """\b
Exit codes:
  0  all is well
  1  something was refused or not found; standard error says what
  2  wrong usage, a setting that can't be used, or a port that can't be had

Advice only: the component maker's instructions, the site's procedures and
licensed practice come first."""


@click.group(
    cls=Commands,
    epilog=EPILOG,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="msdtrack")
@click.option(
    "--config",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="A TOML file with settings.",
)
@click.option("--database", help="The database as a URL, such as sqlite:////absolute/path.db.")
@click.option("--timezone", help="The zone of times shown and read, such as Europe/Lisbon.")
@click.pass_context
def main(
    context: click.Context, config: Path | None, database: str | None, timezone: str | None
) -> None:
    """Floor life, dry storage and bakes of moisture-sensitive parts (J-STD-033)."""
    context.obj = Session(config, {"database": database, "timezone": timezone})


for command in (
    serve,
    demo,
    import_files,
    state,
    working,
    watch,
    label,
    card,
    tables,
    backup,
    rebuild,
    settings,
):
    main.add_command(command)
