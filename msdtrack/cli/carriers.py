"""A carrier's state, working and label, and the watch list."""

from __future__ import annotations

from pathlib import Path

import click

from msdtrack.cli.session import (
    Session,
    json_option,
    moment_of,
    pass_session,
    place_called,
    print_json,
    write_file,
)
from msdtrack.cli.text import state_text, watch_text, working_text
from msdtrack.printing.codes import read_code
from msdtrack.services import answers, board_glances, carrier_states, catalog, labelling, watch_list
from msdtrack.times import zone

_at = click.option("--at", metavar="TIME", help="As of this time; default: now.")
_known_at = click.option(
    "--known-at", metavar="TIME", help="With what had been received by this time only."
)


def _place_names() -> dict[str, str]:
    return {place.code: place.name for place in catalog.places(limit=100_000)}


@click.command()
@click.argument("code")
@_at
@_known_at
@json_option
@pass_session
def state(session: Session, code: str, at: str | None, known_at: str | None, as_json: bool) -> None:
    """Say what a carrier is, whether it may be used, and what to do with it.

    Times are local ("2026-05-04 13:30") or carry an offset ("2026-05-04T11:30:00Z").
    """
    with session.opened() as settings:
        tz = zone(settings.timezone)
        found = carrier_states.state(
            read_code(code).text,
            session.now(),
            moment_of(at, tz, "--at"),
            moment_of(known_at, tz, "--known-at"),
        )
        if as_json:
            print_json(answers.state_answer(found))
        else:
            click.echo(state_text(found, tz, _place_names()))


@click.command()
@click.argument("code")
@_at
@_known_at
@json_option
@pass_session
def working(
    session: Session, code: str, at: str | None, known_at: str | None, as_json: bool
) -> None:
    """Show every interval, cell and share behind a carrier's used floor life."""
    with session.opened() as settings:
        tz = zone(settings.timezone)
        found, lines = carrier_states.state_and_working(
            read_code(code).text,
            session.now(),
            moment_of(at, tz, "--at"),
            moment_of(known_at, tz, "--known-at"),
        )
        if as_json:
            print_json(answers.working_answer(found, lines))
            return
        names = _place_names()
        click.echo(f"{state_text(found, tz, names)}\n\n{working_text(lines, tz, names)}")


@click.command()
@click.option("--place", metavar="PLACE", help="Only what is at this place: its code or name.")
@json_option
@pass_session
def watch(session: Session, place: str | None, as_json: bool) -> None:
    """List every exposed, drying or baking carrier and the boards between reflows, most urgent
    first.

    In JSON it is the list of carriers that the API gives.
    """
    with session.opened() as settings:
        now = session.now()
        where = None if place is None else place_called(place)
        if as_json:
            print_json(answers.watch_answer(carrier_states.watch(now, where), now))
            return
        carriers = watch_list.glances(now, where)
        watched = list(board_glances.unfinished(now, where).among(carriers))
        watched = board_glances.as_on_their_pages(watched, now)
        click.echo(watch_text(watched, now, zone(settings.timezone), _place_names()))


@click.command()
@click.argument("code")
@click.option("--layout", default="62x29", show_default=True, help="The label's layout.")
@click.option(
    "--dpi",
    type=click.Choice(["203", "300", "600"]),
    default="300",
    show_default=True,
    help="The printer's dots per inch.",
)
@click.option(
    "-o",
    "--output",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="The file to write: .pdf or .png.",
)
@pass_session
def label(session: Session, code: str, layout: str, dpi: str, output: Path) -> None:
    """Make the label of a carrier as a PDF or a PNG. It goes on the log of labels."""
    suffix = output.suffix.lower()
    if suffix not in (".pdf", ".png"):
        raise click.BadParameter("must end in .pdf or .png", param_hint="--output")
    names = [one.name for one in labelling.layouts() if one.draws == "carrier"]
    if layout not in names:
        raise click.BadParameter(f"give one of {', '.join(names)}", param_hint="--layout")
    with session.opened():
        carrier = read_code(code).text
        if suffix == ".pdf":
            made = labelling.labels_pdf([carrier], layout, session.now(), dpi=int(dpi))
        else:
            made = labelling.label_png(carrier, layout, int(dpi), session.now())
    write_file(output, made)
