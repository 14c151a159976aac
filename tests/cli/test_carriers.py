"""State, working, watch and label on the command line."""

from __future__ import annotations

import json
from uuid import uuid4

import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from msdtrack.printing.codes import make_code
from msdtrack.services import boards, catalog, event_recording
from msdtrack.store import prints
from msdtrack.store.connection import close_store, open_store
from tests.cli.conftest import NOW, Run, Shop


def test_state_says_what_a_person_needs(run: Run, shop: Shop) -> None:
    """Verdict, time left, the air it assumes and the next step, in aligned words."""
    result = run("--database", shop.url, "--timezone", "UTC", "state", shop.opened)
    assert result.exit_code == 0
    said = result.stdout
    assert f"carrier     {shop.opened}: BL-0312 Converter, lot T4-2201, 2500 pieces, reel" in said
    assert "verdict     [ ] USE (Usable)" in said
    # 24 h of 168 h, rounded up: 14.286 %.
    assert "14.3 % of 168 h used; 6 d 0 h left in 26.0 °C 58 % RH measured" in said
    assert "up to Mon 30 Nov 14:00" in said
    assert "\x1b" not in said


def test_state_in_json_is_the_answer_of_the_api(run: Run, shop: Shop) -> None:
    """One shape for machines, whichever door they take."""
    result = run("--database", shop.url, "state", shop.opened, "--json")
    answer = json.loads(result.stdout)
    assert answer["status"] == "exposed"
    assert answer["verdict"] == "use"
    assert answer["floor_life"]["used_share"] == pytest.approx(24 / 168)
    assert answer["floor_life"]["expires_at"] == "2026-11-30T14:00:00Z"
    assert answer["at"] == "2026-11-24T14:00:00Z"


@pytest.mark.parametrize(
    ("at", "hours"),
    [("2026-11-24T02:00:00Z", 12), ("2026-11-24 03:00", 12), ("2026-11-23 15:00", 0)],
)
def test_the_past_can_be_asked_for(run: Run, shop: Shop, at: str, hours: int) -> None:
    """With an offset or in local time; Berlin is an hour ahead in winter."""
    result = run(
        *("--database", shop.url, "--timezone", "Europe/Berlin"),
        *("state", shop.opened, "--at", at, "--json"),
    )
    used = json.loads(result.stdout)["floor_life"]["used_share"]
    assert used == pytest.approx(hours / 168)


def test_a_moment_before_the_receipt_is_told_as_such(run: Run, shop: Shop) -> None:
    """What it says is how the carrier came, not that it was here; a state since says nothing."""
    command = ("--database", shop.url, "state", shop.opened, "--at")
    assert "it was received only" in run(*command, "2026-11-10 12:00").stdout
    assert "received only" not in run(*command, "2026-11-20 12:00").stdout


def test_what_was_not_known_then_does_not_count(run: Run, shop: Shop) -> None:
    """The opening was recorded now: an hour ago nobody knew of it."""
    result = run(
        *("--database", shop.url, "state", shop.opened, "--json"),
        *("--known-at", "2026-11-24T13:00:00Z"),
    )
    assert json.loads(result.stdout)["status"] == "in_dry_bag"


def test_the_working_sums_to_the_used_share(run: Run, shop: Shop) -> None:
    """In JSON its shares add up; in words it ends in their sum."""
    result = run("--database", shop.url, "working", shop.opened, "--json")
    answer = json.loads(result.stdout)
    assert sum(line["share"] for line in answer["intervals"]) == pytest.approx(24 / 168)
    told = run("--database", shop.url, "working", shop.opened).stdout
    assert "label floor life, 168 h" in told
    last = told.strip().splitlines()[-1].split()
    assert last == ["sum", "0.142858"] or last == ["sum", "0.142857"]


def test_watch_lists_what_is_out(run: Run, shop: Shop) -> None:
    """Only what is exposed, drying or baking; a place by its name or its code."""
    told = run("--database", shop.url, "watch", "--place", "line 1").stdout
    assert shop.opened in told
    assert shop.sealed not in told
    answer = json.loads(run("--database", shop.url, "watch", "--json").stdout)
    assert [item["code"] for item in answer["items"]] == [shop.opened]
    none = run("--database", shop.url, "watch", "--place", "Loft")
    assert none.exit_code == 1
    assert 'No place is called "Loft"' in none.stderr
    assert f"give a code. There are {shop.line} (Line 1)." in none.stderr


def test_watch_lists_a_batch_of_boards_in_one_line(run: Run, shop: Shop) -> None:
    """By its code, with its name, its worst part and the time left; not at another place."""
    open_store(shop.url)
    batch, _ = boards.create(boards.NewBatch("Tide board, top side", 20, shop.line), NOW)
    placing = event_recording.NewEvent(
        str(uuid4()), shop.opened, "place_on_board", NOW - 3600, quantity=40, board=batch.code
    )
    event_recording.record([placing], NOW)
    catalog.create_place(catalog.NewPlace(name="Loft", kind="store"), NOW)
    close_store()
    told = run("--database", shop.url, "watch").stdout
    assert "1 carrier and 1 batch of boards as of" in told
    (line,) = [line for line in told.splitlines() if batch.code in line]
    assert line.startswith("[ ] In time")
    for words in ("BL-0312", "14.3 %", "6 d 0 h", "20 x Tide board, top side"):
        assert words in line
    assert batch.code not in run("--database", shop.url, "watch", "--place", "Loft").stdout


@pytest.mark.parametrize("dpi", ["203", "300", "600"])
def test_a_label_is_a_png_that_decodes(run: Run, shop: Shop, dpi: str) -> None:
    """What comes out of the printer is the code that was asked for."""
    result = run("--database", shop.url, "label", shop.sealed, "--dpi", dpi, "-o", "label.png")
    assert result.exit_code == 0
    assert "Written: label.png" in result.stderr
    with Image.open("label.png") as image:
        assert [found.text for found in zxingcpp.read_barcodes(image)] == [shop.sealed]


def test_a_label_is_a_pdf_that_decodes(run: Run, shop: Shop) -> None:
    """By the suffix of the file."""
    result = run("--database", shop.url, "label", shop.sealed, "--layout", "100x50", "-o", "a.pdf")
    assert result.exit_code == 0
    with pypdfium2.PdfDocument("a.pdf") as document:
        image = document[0].render(scale=300 / 72).to_pil()
    assert [found.text for found in zxingcpp.read_barcodes(image)] == [shop.sealed]


def test_the_action_card_is_a_pdf(run: Run, shop: Shop) -> None:
    """Every action that a scanner can ask for is on it."""
    assert run("--database", shop.url, "card", "-o", "card.pdf").exit_code == 0
    with pypdfium2.PdfDocument("card.pdf") as document:
        words = "".join(page.get_textpage().get_text_bounded() for page in document)
    assert "AOPEN6" in words


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("state", "C0000011"), 1, "bad_code: One character is wrong or missing"),
        (("state", "{unknown}"), 1, "not_found: "),
        (("state", "{unknown}", "--json"), 1, "not_found: "),
        (("state", "{sealed}", "--at", "noon"), 2, "is not a time"),
        (("label", "{sealed}", "-o", "label.gif"), 2, ".pdf or .png"),
        (("label", "{sealed}", "--layout", "none", "-o", "x.pdf"), 2, "give one of 100x50"),
        (("label", "{sealed}", "-o", "no/such/folder.pdf"), 1, "folder.pdf"),
        (("label", "{sealed}"), 2, "Missing option"),
        (("fly",), 2, "No such command"),
    ],
)
def test_what_goes_wrong_is_one_line_and_an_exit_code(
    run: Run, shop: Shop, arguments: tuple[str, ...], code: int, said: str
) -> None:
    """1: refused or not found; 2: wrong usage. Nothing on standard output."""
    unknown = make_code("C", 999_999)
    filled = [
        one.replace("{sealed}", shop.sealed).replace("{unknown}", unknown) for one in arguments
    ]
    result = run("--database", shop.url, *filled)
    assert result.exit_code == code
    assert said in result.stderr
    assert result.stdout == ""
    if code == 1:
        assert len(result.stderr.strip().splitlines()) == 1


def test_a_slip_in_the_path_is_no_empty_shop(run: Run, shop: Shop) -> None:
    """A question to a database that is not there makes none."""
    missing = shop.path.with_name("shopp.db")
    result = run("--database", f"sqlite:///{missing}", "watch")
    assert result.exit_code == 1
    assert f"There is no database at {missing}." in result.stderr
    assert not missing.exists()


def test_a_code_is_read_as_a_scanner_types_it(run: Run, shop: Shop) -> None:
    """Lower case and blanks do no harm."""
    typed = f" {shop.opened.lower()} "
    assert run("--database", shop.url, "state", typed, "--json").exit_code == 0


def test_labels_are_on_the_log(run: Run, shop: Shop) -> None:
    """The second one is a reprint."""
    for name in ("a.png", "b.pdf"):
        run("--database", shop.url, "label", shop.sealed, "-o", name)
    open_store(shop.url)
    logged = prints.prints(shop.sealed)
    close_store()
    assert [one.reprint for one in logged] == [True, False]
