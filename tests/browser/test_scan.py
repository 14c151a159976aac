"""The scan station in a real browser, with a scanner that types and presses Enter."""

from __future__ import annotations

import re
import urllib.request

import pytest
from playwright.sync_api import Browser, Page, expect

from msdtrack.printing.codes import make_action_code
from tests.browser.live_server import LiveServer
from tests.browser.scan_station import OPEN, TAKE, answered, scanned, title
from tests.browser.scanner import scan
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser

SIZES = {"phone": (390, 844), "tablet": (1024, 768), "wall": (1920, 1080)}


def test_two_scans_in_a_row_open_the_bag(station: Page, server: LiveServer, shop: Workshop) -> None:
    """Carrier and action without a pause, 5 ms between the keys."""
    scan(station, shop.closed, OPEN)
    title(station, "Opened")
    expect(station.locator("[data-answer]")).to_have_attribute("data-tone", "ask")
    expect(station.locator("[data-word]")).to_have_text("QUESTION")
    expect(station.locator("[data-carrier]")).to_have_text(shop.closed)
    expect(station.locator(".clock-name")).to_have_text(["Desiccant used up", "Reseal the bag"])
    assert [each["kind"] for each in scanned(server, shop.closed)] == ["open"]


def test_what_is_moved_to_a_line_and_must_not_be_used_is_told_in_red(
    station: Page, server: LiveServer, shop: Workshop
) -> None:
    """Shape, word and colour of a stop, though the move is on record."""
    scan(station, shop.unknown, shop.line)
    title(station, "Moved, do not use")
    expect(station.locator("[data-answer]")).to_have_attribute("data-tone", "stop")
    expect(station.locator("[data-word]")).to_have_text("STOP")
    expect(station.locator(".answer-head [data-shape=refuse]")).to_be_visible()
    assert [each["kind"] for each in scanned(server, shop.unknown)] == ["move"]


def test_a_burst_of_scans_is_kept_whole_and_in_order(station: Page, shop: Workshop) -> None:
    """Eight carriers with no pause at all: eight answers, in order."""
    for code in shop.carriers:
        station.keyboard.type(code)
        station.keyboard.press("Enter")
    rows = station.locator("[data-recent] .what")
    expect(rows).to_have_text(list(reversed(shop.carriers)))


def test_a_photo_of_a_label_is_a_scan(station: Page, server: LiveServer, shop: Workshop) -> None:
    """The picture a phone takes is read by the server and answered like a scan, over plain HTTP."""
    label = f"{server.url}/api/v1/carriers/{shop.closed}/label.png?layout=62x29&dpi=300"
    with urllib.request.urlopen(label, timeout=10) as answer:
        picture = answer.read()
    file = {"name": "label.png", "mimeType": "image/png", "buffer": picture}
    station.locator("[data-photo] input[type=file]").set_input_files(file)  # type: ignore[arg-type]
    title(station, "In dry bag")
    expect(station.locator("[data-carrier]")).to_have_text(shop.closed)
    expect(station.locator("#code")).to_be_focused()


def test_the_field_hears_the_scanner_wherever_one_clicks(station: Page, shop: Workshop) -> None:
    """After a click on paper, on a button and on nothing, and after the Tab key."""
    field = station.locator("#code")
    expect(field).to_be_focused()
    for place in ("[data-title]", "[data-sound]", ".recent", "summary"):
        station.locator(place).click()
        expect(field).to_be_focused()
    station.mouse.click(1000, 700)
    expect(field).to_be_focused()
    station.keyboard.press("Tab")
    station.keyboard.press("Tab")
    expect(field).not_to_be_focused()
    scan(station, shop.closed)
    title(station, "In dry bag")
    expect(station.locator("[data-carrier]")).to_have_text(shop.closed)


@pytest.mark.parametrize("end", ["Tab", "Control+j", "Control+m"])
def test_scanners_that_end_otherwise_are_understood(
    station: Page, shop: Workshop, end: str
) -> None:
    """A tab or a line feed, and lower case from a keyboard with caps lock."""
    station.keyboard.type(shop.closed.lower(), delay=5)
    station.keyboard.press(end)
    title(station, "In dry bag")
    expect(station.locator("#code")).to_be_focused()


def test_a_wrong_check_character_stops(station: Page, shop: Workshop) -> None:
    """In words, shape and tone; what was offered before is still there."""
    scan(station, shop.closed)
    title(station, "In dry bag")
    offered = station.locator("[data-choices] button").count()
    wrong = shop.closed[:-1] + ("X" if shop.closed[-1] != "X" else "Y")
    scan(station, wrong)
    title(station, "Code not valid")
    expect(station.locator("[data-word]")).to_have_text("STOP")
    expect(station.locator("[data-message]")).to_contain_text("scan it again")
    expect(station.locator('.answer-head [data-shape="refuse"]')).to_be_visible()
    expect(station.locator('.answer-head [data-shape="ok"]')).to_be_hidden()
    expect(station.locator("[data-choices] button")).to_have_count(offered)


def test_the_wrong_keyboard_layout_is_named(station: Page) -> None:
    """What a scanner set to another layout types for the action card's OPEN."""
    scan(station, OPEN.replace("A", "q").replace("Z", "W"))
    expect(station.locator("[data-message]")).to_contain_text("begins with")
    scan(station, "Cà00001")
    expect(station.locator("[data-message]")).to_contain_text("keyboard layout is wrong")


def test_the_card_is_read_by_one_key(station: Page, server: LiveServer, shop: Workshop) -> None:
    """The digit alone, without Enter; the picture says the same in shape and words."""
    scan(station, shop.closed, OPEN)
    title(station, "Opened")
    card = station.locator("[data-choices] .card").nth(1)
    expect(card.locator(".spot-word")).to_have_text(["humid", "dry", "dry"])
    station.keyboard.press("2")
    title(station, "Card read")
    stands = scanned(server, shop.closed)[0]["stands"]
    assert stands["hic"] == {"5": "humid", "10": "dry", "60": "dry"}


def test_the_card_is_read_by_a_tap(station: Page, server: LiveServer, shop: Workshop) -> None:
    """Then the screen says what follows from it, and the scanner is heard again."""
    scan(station, shop.closed, OPEN)
    station.get_by_role("button", name="5 and 10 % humid").click()
    title(station, "Bake before use")
    expect(station.locator("#code")).to_be_focused()
    state = answered(server, f"/carriers/{shop.closed}")
    assert state["reasons"] == ["hic_failed"]


def test_a_number_is_tapped(station: Page, server: LiveServer, shop: Workshop) -> None:
    """With gloves: take, 1, 2, Enter."""
    scan(station, shop.opened, TAKE)
    pad = station.locator("[data-numbers]")
    expect(pad).to_be_visible()
    for digit in ("1", "2", "enter"):
        pad.locator(f'[data-digit="{digit}"]').click()
    title(station, "12 taken")
    expect(pad).to_be_hidden()
    assert answered(server, f"/carriers/{shop.opened}")["quantity"] == 488


def test_undo_by_the_button(station: Page, server: LiveServer, shop: Workshop) -> None:
    """The strip strikes it out; the log keeps the opening and its correction."""
    scan(station, shop.closed, OPEN)
    title(station, "Opened")
    station.locator(".tools").get_by_role("button", name="Undo the last scan").click()
    title(station, "Taken back")
    expect(station.locator("[data-recent] .undone")).to_have_count(1)
    line = scanned(server, shop.closed)[0]
    assert line["stands"] is None
    assert len(line["corrections"]) == 1


def test_a_refusal_is_not_wiped_off_by_the_next_scan(station: Page, shop: Workshop) -> None:
    """Scans that follow each other fast: the refusal stays readable."""
    scan(station, "C000001X", shop.closed)
    title(station, "In dry bag")
    expect(station.locator("[data-before]")).to_contain_text("STOP, Code not valid")


def test_each_answer_has_its_tone_and_silence_is_kept(station: Page, shop: Workshop) -> None:
    """High, middle twice, low; switched off it stays off over a reload."""
    scan(station, shop.closed)
    title(station, "In dry bag")
    high = station.evaluate("tones.splice(0)")
    scan(station, OPEN)
    title(station, "Opened")
    middle = station.evaluate("tones.splice(0)")
    scan(station, "C000001X")
    title(station, "Code not valid")
    low = station.evaluate("tones.splice(0)")
    assert [len(high), len(middle), len(low)] == [1, 2, 1]
    assert high[0] > middle[0] > low[0]
    station.locator("[data-sound]").click()
    station.reload()
    expect(station.locator("[data-sound-word]")).to_have_text("Sound off")
    scan(station, shop.opened)
    title(station, "Usable")
    assert station.evaluate("tones") == []


def test_clocks_run(station: Page, shop: Workshop) -> None:
    """The desiccant's clock goes down by itself."""
    scan(station, shop.closed, OPEN)
    clock = station.locator(".clock-time").first
    expect(clock).to_have_text(re.compile(r"29:5\d"))
    shown = clock.inner_text()
    expect(clock).not_to_have_text(shown)


def test_an_old_answer_does_not_look_current(
    chromium: Browser, server: LiveServer, shop: Workshop
) -> None:
    """Its age shows, and after two minutes the station is ready for the next one."""
    page = chromium.new_page()
    page.clock.install()
    page.goto(f"{server.url}/scan?station=Bench")
    expect(page.locator("[data-station-name]")).to_have_text("Bench")
    scan(page, shop.closed)
    title(page, "In dry bag")
    page.clock.run_for(65_000)
    expect(page.locator("[data-age]")).to_have_text("scanned 1 min ago")
    page.clock.run_for(60_000)
    title(page, "Scan a carrier")
    expect(page.locator("[data-word]")).to_have_text("READY")
    expect(page.locator("[data-choices]")).to_be_hidden()
    page.close()


def test_a_window_without_the_keyboard_says_so(station: Page) -> None:
    """A scanner types into whatever window is in front."""
    station.evaluate("document.hasFocus = () => false")
    expect(station.locator("[data-deaf]")).to_contain_text("NOT LISTENING")
    station.evaluate("document.hasFocus = () => true")
    expect(station.locator("[data-deaf]")).to_be_hidden()


def test_the_station_gets_a_name(station: Page, shop: Workshop) -> None:
    """By tap and keys; it is kept, and what is scanned then is another station's."""
    scan(station, shop.closed)
    title(station, "In dry bag")
    station.locator("[data-rename]").click()
    station.locator("#station").fill("Line 1 left")
    station.keyboard.press("Enter")
    expect(station.locator("[data-station-name]")).to_have_text("Line 1 left")
    expect(station.locator("[data-recent] li")).to_have_count(0)
    expect(station.locator("#code")).to_be_focused()
    station.reload()
    expect(station.locator("[data-station-name]")).to_have_text("Line 1 left")


@pytest.mark.parametrize("size", SIZES)
def test_it_fits_and_a_glove_hits_it(
    chromium: Browser, server: LiveServer, shop: Workshop, size: str
) -> None:
    """No sideways scrolling; the answer is whole on the first screen; buttons are 64 px high."""
    width, height = SIZES[size]
    page = chromium.new_page(viewport={"width": width, "height": height})
    page.goto(f"{server.url}/scan?station=Bench")
    expect(page.locator("[data-station-name]")).to_have_text("Bench")
    for steps, expected in (
        ([], "Scan a carrier"),
        ([shop.closed, OPEN], "Opened"),
        (["1"], "Card read"),
        ([shop.expired, make_action_code("LOAD")], "Do not use"),
    ):
        scan(page, *steps)
        title(page, expected)
        page.wait_for_timeout(100)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        answer = page.locator("[data-answer]").bounding_box()
        assert answer is not None
        assert answer["y"] + answer["height"] <= height
        for button in page.locator("button:visible").all():
            box = button.bounding_box()
            assert box is not None
            assert box["height"] >= 63.9, button.inner_text()
            assert box["width"] >= 44, button.inner_text()
    page.close()
