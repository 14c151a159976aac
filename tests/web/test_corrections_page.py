"""The page of a correction: shown before it is made, made as shown, readable afterwards."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from msdtrack.services import event_recording
from msdtrack.services.carrier_states import state
from tests.web.conftest import NOW
from tests.web.workshop import HOUR_S, Workshop, record


def fields(text: str) -> dict[str, str]:
    """Return what the page's form would send as it stands."""
    form = text[text.index('<form class="fields sheet"') :]
    sent = dict(re.findall(r'<input [^>]*?name="(\w+)"[^>]*?value="([^"]*)"', form))
    sent["how"] = "void" if re.search(r'value="void" checked', form) else "amend"
    for name, options in re.findall(r'<select [^>]*?name="(\w+)".*?>(.*?)</select>', form, re.S):
        chosen = re.search(r'value="(\w*)" selected', options)
        sent[name] = chosen[1] if chosen else re.findall(r'value="(\w*)"', options)[0]
    for name in ("only_this", "last"):
        if sent.get(name) and not re.search(rf'name="{name}" value="yes" checked', form):
            del sent[name]
    return sent


def opening(code: str) -> str:
    return next(o.event.id for o in event_recording.log_of(code) if o.event.kind == "open")


class Correcting:
    """A person at the page of one entry."""

    def __init__(self, browser: FlaskClient, event_id: str, person: str) -> None:
        self.browser, self.url, self.person = browser, f"/correct/{event_id}", person
        self.text = browser.get(self.url).text

    def send(self, step: str, **changed: str) -> str:
        data = {**fields(self.text), "step": step, "who": self.person, "why": "scanned late"}
        answer = self.browser.post(self.url, data=data | changed)
        self.status = answer.status_code
        if answer.status_code == 303:
            self.url = answer.headers["Location"]
            answer = self.browser.get(self.url)
        self.text = answer.text
        return self.text


@pytest.fixture
def page(browser: FlaskClient, shop: Workshop) -> Correcting:
    """At the opening of the usable carrier."""
    return Correcting(browser, opening(shop.usable), shop.people[0])


def test_the_log_leads_to_the_entry(browser: FlaskClient, shop: Workshop) -> None:
    """Every line has its link, and so has the contradiction."""
    closing = record(
        shop.closed, "close", NOW - 60, NOW, desiccant="fresh", new_hic="fresh", seal="heat"
    )
    text = browser.get(f"/carriers/{shop.closed}").text
    assert text.count(f'href="/correct/{closing}"') == 2
    assert browser.get("/correct/nothing").status_code == 404


def test_shown_then_made(shop: Workshop, page: Correcting) -> None:
    """Before and after stand beside each other, nothing is written until it is confirmed."""
    text = page.send("show", at="2026-05-14T10:00")
    assert page.status == 200
    assert "What it changes" in text
    row = re.search(r"Floor life used</th><td.*?>(.*?)</td><td.*?><b>(.*?)</b>", text)
    assert row is not None
    before, after = (float(part.split(" ")[0]) for part in row.groups())
    assert after == pytest.approx(before * 3 / 2, abs=0.1)
    assert "Working after" in text
    assert state(shop.usable, NOW).ledger.opened_at == NOW - 2 * HOUR_S
    text = page.send("record")
    assert page.url.endswith(f"/carriers/{shop.usable}#log")
    assert state(shop.usable, NOW).ledger.opened_at == NOW - 3 * HOUR_S
    assert "Thu 14 May 11:00</span><br>Thu 14 May 10:00" in text
    assert "scanned late" in text
    assert "Take back" in text


def test_struck_out_and_taken_back(browser: FlaskClient, shop: Workshop, page: Correcting) -> None:
    """The entry stays readable; taking the correction back brings its effect back."""
    before = state(shop.usable, NOW)
    assert "in a closed dry bag" in page.send("show", how="void")
    page.send("record")
    assert "struck out" in page.text
    assert state(shop.usable, NOW).status == "in_dry_bag"
    struck = browser.get(f"/correct/{opening(shop.usable)}").text
    assert "Take back what struck it out first" in struck
    link = re.search(r'/correct/([\w-]+)">Take it back', struck)
    assert link is not None
    back = Correcting(browser, link[1], shop.people[1])
    back.send("show")
    back.send("record")
    assert state(shop.usable, NOW) == before
    assert "taken back" in browser.get(f"/correct/{opening(shop.usable)}").text
    assert "nothing left to correct" in browser.get(f"/correct/{link[1]}").text


def test_what_is_missing_or_wrong_is_told_beside_its_field(page: Correcting) -> None:
    """No name, no reason, no change, a time ahead: what was typed stays."""
    assert "Fill this in" in page.send("show", who="")
    assert page.status == 422
    assert "Fill this in" in page.send("show", why="")
    assert "Change what is wrong" in page.send("show")
    text = page.send("show", at="2026-05-14T15:00")
    assert "ahead of the server" in text
    assert 'value="2026-05-14T15:00"' in text


def test_changed_after_it_was_shown_it_is_shown_again(shop: Workshop, page: Correcting) -> None:
    """What is recorded is what was looked at."""
    page.send("show", at="2026-05-14T10:00")
    text = page.send("record", at="2026-05-14T09:00")
    assert page.status == 422
    assert "look at it again" in text
    assert state(shop.usable, NOW).ledger.opened_at == NOW - 2 * HOUR_S
    page.send("record")
    assert state(shop.usable, NOW).ledger.opened_at == NOW - 4 * HOUR_S


def test_sent_twice_it_is_one_entry(shop: Workshop, page: Correcting) -> None:
    """A double click, or the back button."""
    page.send("show", at="2026-05-14T10:00")
    shown, url = page.text, page.url
    page.send("record")
    page.text, page.url = shown, url
    page.send("record")
    assert len(event_recording.log_of(shop.usable)) == 2


def test_the_card_and_the_place(shop: Workshop, page: Correcting) -> None:
    """Read wrong at the opening: the failed card asks for a bake, and the contradiction is none."""
    text = page.send("show", hic_5="humid", hic_10="humid", place=shop.bench)
    assert "Bake first" in text
    page.send("record")
    after = state(shop.usable, NOW)
    assert "hic_failed" in after.reasons
    assert after.ledger.place == shop.bench


def test_an_arising_contradiction_is_a_warning(browser: FlaskClient, shop: Workshop) -> None:
    """Striking out the opening of what was closed since."""
    record(shop.usable, "close", NOW - 60, NOW, desiccant="fresh", new_hic="fresh", seal="heat")
    page = Correcting(browser, opening(shop.usable), shop.people[0])
    assert "Contradicts from now on" in page.send("show", how="void")


@pytest.mark.parametrize(
    ("kind", "given"),
    [
        ("close", {"desiccant": "fresh", "new_hic": "fresh", "seal": "heat"}),
        ("move", {"place": "bench"}),
        ("bake_start", {"place": "oven", "temp_c": 40.0}),
        ("split", {"quantity": 10}),
        ("take", {"quantity": 10}),
        ("load", {}),
        ("hold", {"reason": "asked"}),
        ("release", {"reason": "asked"}),
        ("scrap", {"reason": "empty"}),
    ],
)
def test_every_kind_has_its_fields(
    kind: str, given: dict[str, object], browser: FlaskClient, shop: Workshop
) -> None:
    """Each entry's time can be corrected, and nothing else is by that."""
    given = {name: getattr(shop, str(v)) if name == "place" else v for name, v in given.items()}
    event_id = record(shop.usable, kind, NOW - 600, NOW, **given)
    page = Correcting(browser, event_id, shop.people[0])
    assert "Corrected: at Thu 14 May 12:40" in page.send("show", at="2026-05-14T12:40")
    page.send("record")
    (line,) = [o for o in event_recording.log_of(shop.usable) if o.event.id == event_id]
    assert line.corrections[0].fields == {"at": NOW - 20 * 60}
