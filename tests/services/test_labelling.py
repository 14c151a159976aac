"""A label says what is so when it is printed, can be scanned, and is on the log."""

from __future__ import annotations

import math
from datetime import date
from io import BytesIO
from uuid import uuid4

import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from msdtrack.errors import BadInput, NotFound
from msdtrack.exposure.facts import MakerBake, PartFacts
from msdtrack.services import catalog, event_recording, labelling, people
from msdtrack.services.carrier_states import state
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import prints
from tests.services.conftest import NOW, receive

DRY = {"5": "dry", "10": "dry", "60": "dry"}
HOUR = 3600


def record(carrier: str, kind: str, at: int, **what: object) -> None:
    new = NewEvent(str(uuid4()), carrier, kind, at, **what)  # type: ignore[arg-type]
    event_recording.record([new], at)


def scanned(image: Image.Image) -> list[str]:
    return sorted(found.text for found in zxingcpp.read_barcodes(image.convert("L")))


def pages(document: bytes) -> list[Image.Image]:
    pdf = pypdfium2.PdfDocument(document)
    try:
        return [page.render(scale=300 / 72).to_pil() for page in pdf]
    finally:
        pdf.close()


@pytest.mark.parametrize("layout", ["62x29", "100x50"])
def test_a_label_can_be_scanned_and_a_reprint_is_on_the_log(
    shop: dict[str, str], layout: str
) -> None:
    """The second label of the same use is a reprint, whoever prints it; a preview is no print."""
    reel = receive(shop["Bench"]).code
    labelling.label_png(reel, layout, 203, NOW, preview=True)
    assert prints.prints(reel) == []
    image = labelling.label_png(reel, layout, 203, NOW, "Ines", "bag")
    assert scanned(Image.open(BytesIO(image))) == [reel]
    labelling.label_png(reel, layout, 203, NOW + 5, stuck_on="bag")
    again, first = prints.prints(reel)
    assert (first.layout, first.stuck_on, first.reprint) == (layout, "bag", False)
    assert people.person(first.person or "").name == "Ines"
    assert (again.at, again.reprint) == (NOW + 5, True)


def test_bag_and_carrier_get_one_label_each(shop: dict[str, str]) -> None:
    """In the order asked for, one to a page; or several to a sheet."""
    reels = [receive(shop["Bench"]).code for _ in range(2)]
    document = labelling.labels_pdf(reels[::-1], "62x29", NOW, both=True)
    assert [scanned(page) for page in pages(document)] == [
        [reels[1]],
        [reels[1]],
        [reels[0]],
        [reels[0]],
    ]
    assert [one.stuck_on for one in prints.prints(reels[0])] == ["carrier", "bag"]
    (sheet,) = pages(labelling.labels_pdf(reels, "62x29", NOW, a4=True))
    assert scanned(sheet) == sorted(reels)


def test_an_unknown_carrier_prints_and_logs_nothing(shop: dict[str, str]) -> None:
    """All or none."""
    reel = receive(shop["Bench"]).code
    with pytest.raises(NotFound, match="C999999X"):
        labelling.labels_pdf([reel, "C999999X"], "62x29", NOW)
    with pytest.raises(BadInput):
        labelling.labels_pdf([], "62x29", NOW)
    with pytest.raises(BadInput):
        labelling.label_png(reel, "place", 203, NOW)
    assert prints.prints(reel) == []


def test_the_label_follows_the_carrier(shop: dict[str, str]) -> None:
    """Quantity, bag, seal date and shelf life are those of now."""
    received = receive(shop["Bench"])
    reel = received.code
    new = labelling.label_facts(state(reel, NOW), "carrier")
    assert (new.part, new.lot, new.quantity, new.msl) == ("BL-0101", "L-1", 500, "3")
    assert (new.bag, new.stuck_on, new.floor_life_h) == (received.bag, "carrier", 168)
    assert (new.seal_date, new.shelf_life_ends) == (date(2026, 6, 1), date(2027, 6, 1))
    record(reel, "open", NOW - HOUR, hic=DRY)
    record(reel, "take", NOW - HOUR, quantity=20)
    assert labelling.label_facts(state(reel, NOW)).bag is None
    record(reel, "close", NOW - 60, desiccant="fresh", new_hic="fresh", seal="heat")
    closed = labelling.label_facts(state(reel, NOW))
    assert closed.quantity == 480
    assert closed.bag not in (None, received.bag)
    assert (closed.seal_date, closed.shelf_life_ends) == (date(2026, 9, 21), date(2027, 9, 21))


def test_a_quick_close_keeps_the_seal_date_that_stands(shop: dict[str, str]) -> None:
    """Clipped after 30 minutes, or heat-sealed after a card that was not good: the seal date and
    shelf life of before, and what is left of the floor life, never more.

    Source: design 4.5, after J-STD-033: a new shelf life only with a heat seal, fresh desiccant and
    a fresh card after a good one.
    """
    reel = receive(shop["Bench"]).code
    stands = (date(2026, 6, 1), date(2027, 6, 1))

    def says(at: int) -> tuple[object, ...]:
        facts = labelling.label_facts(state(reel, at))
        return facts.seal_date, facts.shelf_life_ends, facts.words()["floor_life"]

    assert says(NOW - 9 * HOUR) == (*stands, "168 h")
    record(reel, "open", NOW - 8 * HOUR, hic=DRY)
    assert says(NOW - 8 * HOUR + 1800) == (*stands, "167 h left, runs")
    clip = {"desiccant": "reused", "new_hic": "kept", "seal": "clip"}
    record(reel, "close", NOW - 8 * HOUR + 1800, **clip)
    assert says(NOW - 7 * HOUR) == (*stands, "167 h left")
    record(reel, "open", NOW - 6 * HOUR, hic=DRY)
    heat = {"desiccant": "fresh", "new_hic": "fresh", "seal": "heat"}
    record(reel, "close", NOW - 6 * HOUR + 60, **heat)
    sealed = (date(2026, 9, 21), date(2027, 9, 21))
    assert says(NOW - 6 * HOUR + 90) == (*sealed, "167 h left")
    record(reel, "open", NOW + 48 * HOUR, hic=DRY)
    record(reel, "close", NOW + 48 * HOUR + 60, **clip)
    assert says(NOW + 49 * HOUR)[:2] == sealed
    image = labelling.label_png(reel, "62x29", 300, NOW + 49 * HOUR)
    assert scanned(Image.open(BytesIO(image))) == [reel]


def test_levels_4_to_5a_run_on_in_their_bag(shop: dict[str, str]) -> None:
    """What it says is left is soon too much, so it says that; due for a bake none is left."""
    catalog.create_part(PartFacts("BL-0400", "4", body_mm=1.4), NOW)
    reel = receive(shop["Bench"], part="BL-0400").code
    record(reel, "open", NOW - 3 * HOUR, hic=DRY)
    record(reel, "close", NOW - HOUR, desiccant="fresh", new_hic="fresh", seal="heat")
    assert labelling.label_facts(state(reel, NOW)).words()["floor_life"] == "69 h left, runs"
    unknown = receive(shop["Bench"], sealed_on=None).code
    assert labelling.label_facts(state(unknown, NOW)).words()["floor_life"] == "none left"


def test_levels_without_a_time_say_so(shop: dict[str, str]) -> None:
    """Level 1 has no limit and no bake; level 6 has what its label says."""
    catalog.create_part(PartFacts("BL-0001", "1"), NOW)
    catalog.create_part(PartFacts("BL-0600", "6"), NOW)
    one = labelling.label_facts(state(receive(part="BL-0001").code, NOW))
    six = labelling.label_facts(state(receive(part="BL-0600").code, NOW))
    assert (one.floor_life_h, one.bake_line) == (math.inf, None)
    assert (six.floor_life_h, six.bake_line) == (None, "no figure: ask the maker")


@pytest.mark.oracle
def test_the_bake_line_says_both_columns_until_a_bake_is_due(shop: dict[str, str]) -> None:
    """Source: IPC/JEDEC J-STD-033, Table 4-1, body up to 1.4 mm, level 3 at 125 °C: 9 h when the
    floor life was exceeded by more than 72 h, 7 h otherwise (as quoted by
    eesemi.com/baketables.htm, an early edition)."""
    catalog.create_part(PartFacts("BL-0125", "3", body_mm=1.4, carrier_max_c=125), NOW)
    tray = receive(shop["Bench"], part="BL-0125", kind="tray").code
    assert labelling.bake_line(state(tray, NOW)) == "125 °C: 7 h; late by > 72 h: 9 h"


def test_the_bake_line_of_a_bake_that_is_due(shop: dict[str, str]) -> None:
    """One figure, with the humidity of the oven's air where the table limits it."""
    unknown = receive(shop["Bench"], sealed_on=None).code
    found = state(unknown, NOW)
    chosen = found.bake.chosen
    assert chosen is not None
    assert found.bake.needed
    hours = float(chosen.hours)
    assert labelling.bake_line(found) == f"before use: {hours:g} h at 40 °C at ≤ 5 % RH"
    own = PartFacts("BL-0900", "3", maker_bake=MakerBake(40, 100))
    catalog.create_part(own, NOW)
    makers = state(receive(shop["Bench"], part="BL-0900").code, NOW)
    assert labelling.bake_line(makers) == "100 h at 40 °C (maker's)"


def test_signs_badges_and_the_card_are_printed_and_logged(shop: dict[str, str]) -> None:
    """Each can be scanned from its page."""
    ines = people.add_person("Ines Prado", NOW).code
    (signs,) = pages(labelling.place_labels_pdf(list(shop.values()), NOW, ines))
    assert scanned(signs) == sorted(shop.values())
    (badge,) = pages(labelling.badges_pdf([ines], NOW))
    assert scanned(badge) == [ines]
    assert len(pages(labelling.action_card_pdf(NOW))) >= 1
    assert [one.stuck_on for one in prints.prints(shop["Oven"])] == ["place"]
    assert [one.stuck_on for one in prints.prints(ines)] == ["person"]
    assert [one.stuck_on for one in prints.prints(labelling.CARD)] == ["card"]
    with pytest.raises(NotFound):
        labelling.badges_pdf(["W000099X"], NOW)


def test_the_layouts_to_choose_from_are_those_on_file() -> None:
    """Two for carriers, one for closed bags, one for places, one for people."""
    drawn = {one.name: one.draws for one in labelling.layouts()}
    carrier = dict.fromkeys(("62x29", "100x50", "closing"), "carrier")
    assert drawn == carrier | dict.fromkeys(("place", "badge"), "sign")
