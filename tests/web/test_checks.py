"""The pages of the sample checks: from the lot to the proof, and what they say of mistakes."""

from __future__ import annotations

import dataclasses
import html
import re
from typing import Any

import pytest
from flask import Flask, template_rendered
from flask.testing import FlaskClient

from msdtrack.printing.codes import ACTIONS, make_action_code
from msdtrack.services import carrier_states, catalog, measurements, receiving, sample_checks
from msdtrack.services.measurements import LotValues
from msdtrack.services.receiving import NewCarrier
from msdtrack.store.sample_checks import Channel
from msdtrack.web.check_charts import BASE, TOP, values_chart
from tests.services.test_measurements import CHECK, OFFSET, piece
from tests.web.conftest import NOW, Clock
from tests.web.test_pages import tags_of
from tests.web.workshop import Workshop

LIMITS = "offset at 0 dbar;-1,5;1,5;mV\ngain;19,8;20,2;mV/dbar"
GOOD = "piece;offset at 0 dbar;gain\n" + "\n".join(f"{n};0,{n};20,05" for n in range(1, 6))


@dataclasses.dataclass
class Inspector:
    """A browser at work on a check of the workshop's lot B-1."""

    browser: FlaskClient
    shop: Workshop
    clock: Clock

    def text(self, path: str) -> str:
        """Return a page as a person reads it, entities resolved."""
        answer = self.browser.get(path, follow_redirects=True)
        assert answer.status_code == 200, path
        return html.unescape(answer.text)

    def send(self, path: str, **fields: object) -> str:
        answer = self.browser.post(path, data=fields, follow_redirects=True)
        self.status = answer.status_code
        return html.unescape(answer.text)

    def plan(self, **more: object) -> str:
        fields = {
            "part": "WB-PRS-3", "lot": "B-1", "variant": "bare", "lot_size": 500, "level": "II",
            "aql_pct": "0.65", "sample_size": 5, "accept": 0, "bags": 1,
            "deviation": "agreed with the supplier", "person": self.shop.people[0],
        }  # fmt: skip
        return self.send("/checks/plan", **(fields | more))

    def scan(self, *codes: str) -> str:
        for code in codes:
            self.clock.now += 5
            code = make_action_code(code) if code in ACTIONS else code
            answer = self.send("/checks/1/scan", code=code)
        return answer

    def table(self, text: str, **more: object) -> str:
        fields = {"table": text, "person": self.shop.people[0]}
        return self.send("/checks/1/measure/table", **(fields | more))


@pytest.fixture
def inspector(browser: FlaskClient, shop: Workshop, wall_clock: Clock) -> Inspector:
    """An inspector with limits on file."""
    measurements.set_limits("WB-PRS-3", "bare", LIMITS, "Mira", "drawing 7", NOW)
    return Inspector(browser, shop, wall_clock)


@pytest.fixture
def sampled(inspector: Inspector) -> Inspector:
    """An inspector who has taken the pieces and closed the bag again."""
    inspector.plan()
    inspector.scan(inspector.shop.closed, "OPEN", "HICDRY", "5", "CLOSEQUICK")
    return inspector


def test_a_carrier_leads_to_the_plan_of_its_lot(inspector: Inspector) -> None:
    """500 pieces: letter H is sent to J at 0.65 %: 80 pieces, 1 may fail. The table is cited.

    Source: ISO 2859-1 tables 1 and 2-A, from memory.
    """
    text = inspector.send("/checks/scan", scan=inspector.shop.closed)
    assert "Check WB-PRS-3, lot B-1" in text
    figures = re.findall(r"<dd>([^<]+)<small>", text)
    assert figures[:3] == ["80", "1", "at most 1"]
    assert "ISO 2859-1" in text
    text = inspector.text("/checks/plan?part=WB-PRS-3&lot=B-1&aql_pct=2.5&level=I")
    assert re.findall(r"<dd>([^<]+)<small>", text)[:3] == ["20", "1", "at most 1"]


def test_a_lot_is_found_by_its_name(inspector: Inspector) -> None:
    assert "WB-PRS-3</b>, lot B-1" in inspector.send("/checks/scan", scan="b-1")
    assert "No lot fits" in inspector.send("/checks/scan", scan="nothing")
    assert "scan a carrier" in inspector.send("/checks/scan", scan=make_action_code("OPEN"))


def test_without_limits_it_asks_for_them_first(inspector: Inspector) -> None:
    text = inspector.text("/checks/plan?part=WB-CND-5&lot=D-1")
    assert "No limits yet for WB-CND-5" in text
    assert "Plan this check" not in text


def test_a_plan_other_than_the_table_needs_a_reason(inspector: Inspector) -> None:
    """What was filled in stays, the field says what is missing."""
    text = inspector.plan(deviation="")
    assert inspector.status == 422
    assert "80 pieces and at most 1 failing" in text
    assert 'value="5"' in text
    assert sample_checks.newest() == []
    assert "Scan the first bag" in inspector.plan()
    assert inspector.status == 200


def test_the_desk_shows_what_is_asked_and_both_clocks(inspector: Inspector) -> None:
    """Open: desiccant 30 minutes, reseal 60 minutes, both large.

    Source: J-STD-033, from memory.
    """
    inspector.plan()
    text = inspector.scan(inspector.shop.closed, "OPEN")
    assert "The humidity card?" in text
    opened = inspector.clock.now
    ends = [int(end) for end in re.findall(r'big-clock-time"><b data-ends-at="(\d+)"', text)]
    assert ends == [opened + 1800, opened + 3600]
    text = inspector.scan("1")
    assert "5 wanted" in text
    text = inspector.scan("5")
    assert "5 taken" in text
    child = sample_checks.check(1, inspector.clock.now).pieces[0].code
    assert f'data-print-child="{child}"' in text
    text = inspector.scan("CLOSEQUICK")
    assert "big-clock-time" not in text
    assert "All pieces taken" in text
    # Scanned on the list, the pieces lead back to their check.
    assert "Check 1: WB-PRS-3" in inspector.send("/checks/scan", scan=child)


def test_a_refused_scan_is_told_and_a_badge_is_remembered(inspector: Inspector) -> None:
    inspector.plan()
    text = inspector.scan(inspector.shop.usable)
    assert 'data-desk-tone="refuse"' in text
    assert "lot U-1. This check is of WB-PRS-3, lot B-1." in text
    assert "<b data-who-name>Jonas</b>" in inspector.scan(inspector.shop.people[1])


def test_a_scan_sent_late_counts_from_when_it_was_made(inspector: Inspector) -> None:
    """The browser's own moment goes with it; one ahead of the server is refused."""
    inspector.plan()
    inspector.scan(inspector.shop.closed)
    inspector.clock.now += 300
    code, at = make_action_code("OPEN"), inspector.clock.now - 240
    inspector.send("/checks/1/scan", code=code, scanned_at=at)
    state = carrier_states.state(inspector.shop.closed, inspector.clock.now)
    assert state.opened_at == at
    text = inspector.send("/checks/1/scan", code="1", scanned_at=inspector.clock.now + 500)
    assert "Not recorded" in text


def test_the_same_page_sent_twice_does_it_once(inspector: Inspector) -> None:
    inspector.plan()
    inspector.scan(inspector.shop.closed, "OPEN", "HICDRY")
    for _ in range(2):
        inspector.send("/checks/1/scan", code="5", request_id="same", scanned_at=NOW + 15)
    assert sample_checks.progress(1).taken == 5


def test_a_pasted_table_is_judged_at_once(sampled: Inspector) -> None:
    """Accepted: told above the proof, with a plot of each channel."""
    text = sampled.table(GOOD)
    assert "Lot B-1 is accepted" in text
    assert text.count('<svg class="chart"') == 2
    assert "maximum 1.5<" in text
    assert text.count('<circle class="dot-good"') == 11


def test_wrong_cells_are_listed_and_the_text_stays(sampled: Inspector) -> None:
    """Row and column of each, what to do, and nothing is kept."""
    pasted = GOOD.replace("2;0,2;20,05", "2;;20,05").replace("4;0,4", "4;oops")
    text = sampled.table(pasted)
    assert sampled.status == 422
    assert "<b>Row 3, offset at 0 dbar</b>: is empty" in text
    assert '<b>Row 5, offset at 0 dbar</b>: "oops" is no number' in text
    assert pasted in text
    assert sample_checks.progress(1).values == ()


def test_pieces_are_typed_one_after_the_other(sampled: Inspector) -> None:
    """The next number stands there already; a decimal comma is fine, a word is not."""
    fields = {"piece": "1", "value_0": "0,4", "value_1": "20", "person": sampled.shop.people[0]}
    text = sampled.send("/checks/1/measure/piece", **(fields | {"value_1": "twenty"}))
    assert sampled.status == 422
    assert '"twenty" is no number' in text
    text = sampled.send("/checks/1/measure/piece", **fields)
    assert "1 of 5 pieces is measured, 0 fail" in text
    assert 'id="typed-piece" name="piece" value="2"' in text
    # Who measured is remembered, in both forms.
    assert text.count(f'<option value="{sampled.shop.people[0]}" selected>') == 2
    text = sampled.send("/checks/1/measure/piece", **fields)
    assert "measured already" in text


def test_a_failing_lot_is_held_and_released_with_name_and_reason(sampled: Inspector) -> None:
    late = receiving.receive(NewCarrier("WB-PRS-3", "B-1", 100, "reel"), sampled.clock.now)[0].code
    text = sampled.table(GOOD.replace("3;0,3", "3;1,8"))
    assert "all its 3 carriers are on hold now" in text
    assert "above limit" in text
    assert '<path class="dot-failing"' in text
    text = sampled.text("/checks/1")
    assert "On hold by this check" in text
    assert late in text
    text = sampled.send("/checks/1/release", which=late, person="", reason="")
    assert sampled.status == 422
    assert carrier_states.state(late, sampled.clock.now).ledger.held
    who, why = sampled.shop.people[1], "measured one by one"
    text = sampled.send("/checks/1/release", which=late, person=who, reason=why)
    assert not carrier_states.state(late, sampled.clock.now).ledger.held
    assert carrier_states.state(sampled.shop.closed, sampled.clock.now).ledger.held
    sampled.send("/checks/1/release", which="", person=who, reason=why)
    assert not carrier_states.state(sampled.shop.closed, sampled.clock.now).ledger.held
    text = sampled.text("/checks")
    assert "Released after rejection" in text
    assert f"Released</b> by Jonas: {why}" in sampled.text("/checks/1/proof")


def test_a_rejected_check_asks_for_no_measurements(sampled: Inspector) -> None:
    """Measured on the first piece alone: the desk, the measurements and the proof all say what is
    decided, and none that more is to be measured. One bag is one bag."""
    assert "5 pieces are still to be measured" in sampled.text("/checks/1/measure")
    assert "Enter measurements" in sampled.text("/checks/1")
    sampled.table("piece;offset at 0 dbar;gain\n1;1,8;20")
    text = sampled.text("/checks/1")
    assert "<h2>Lot B-1 is rejected</h2>" in text
    assert "nter measurements" not in text
    text = sampled.text("/checks/1/measure")
    assert "nothing more need be measured" in text
    assert "still to be measured" not in text
    text = sampled.text("/checks/1/proof")
    assert "1 of 1 measured piece is out of limits; 0 may be, 1 rejects the lot." in text
    assert "4 were not measured." in text
    assert "5 pieces from 1 bag, 5 taken" in text


def test_limits_are_pasted_and_their_mistakes_named(inspector: Inspector) -> None:
    fields = {
        "part": "WB-CND-5", "variant": "on the board", "person": inspector.shop.people[0],
        "reason": "drawing 9",
    }  # fmt: skip
    text = inspector.send("/checks/limits", table="cell constant;1,2;1,1;1/cm", **fields)
    assert inspector.status == 422
    assert "Table, row 1, column 3</b>: the maximum 1.1 is below the minimum 1.2" in text
    assert measurements.variants("WB-CND-5") == []
    text = inspector.send("/checks/limits", table="cell constant;1,1;1,2;1/cm", **fields)
    assert "The limits are in force" in text
    assert "cell constant;1.1;1.2;1/cm" in inspector.text(
        "/checks/limits?part=WB-CND-5&variant=on+the+board"
    )


PAGES = (
    "/checks", "/checks?search=B-1", "/checks/plan?part=WB-PRS-3&lot=B-1", "/checks/1",
    "/checks/1/measure", "/checks/1/proof", "/checks/limits?part=WB-PRS-3",
)  # fmt: skip


@pytest.mark.parametrize("page", PAGES)
def test_every_page_of_a_check_keeps_the_rules_of_pages(
    page: str, site_app: Flask, sampled: Inspector
) -> None:
    """A documented frozen context, no inline style or script, ids once, every field labelled."""
    sampled.table(GOOD.replace("3;0,3", "3;1,8"))
    seen: list[Any] = []

    def look(sender: Flask, template: Any, context: dict[str, Any], **_: Any) -> None:
        seen.append(context["page"])

    with template_rendered.connected_to(look, site_app):
        text = sampled.text(page)
    context = seen[-1]
    assert context.__dataclass_params__.frozen
    explained = set(re.findall(r"\w+", type(context).__doc__ or ""))
    assert {field.name for field in dataclasses.fields(context)} <= explained
    tags = tags_of(text)
    assert not [a for _, a in tags if "style" in a or any(name.startswith("on") for name in a)]
    ids = [a["id"] for _, a in tags if "id" in a]
    assert len(ids) == len(set(ids))
    labelled = {a["for"] for tag, a in tags if tag == "label" and a.get("for")}
    assert labelled <= set(ids)
    fields = {
        a["id"]
        for tag, a in tags
        if tag in ("input", "select", "textarea") and a.get("type") != "hidden" and "id" in a
    }
    assert fields <= labelled


@pytest.mark.parametrize(
    "path",
    ["/checks/99", "/checks/99/proof", "/checks/99/measure", "/checks/99/data",
     "/checks/plan?part=WB-PRS-3&lot=NONE", "/checks/limits?part=NONE"],
)  # fmt: skip
def test_what_is_not_there_is_said_in_words(path: str, inspector: Inspector) -> None:
    answer = inspector.browser.get(path)
    assert answer.status_code == 404
    assert "Nothing is known under this name" in answer.text


def test_the_pages_of_an_empty_database_say_what_to_do(browser: FlaskClient) -> None:
    assert "No check has been planned yet" in browser.get("/checks").text
    assert catalog.parts() == []


def test_the_chart_puts_values_where_they_belong() -> None:
    """Limits enclose what is within, earlier lots stand on the left, a mean between its values."""
    verdict = measurements.judge(CHECK, [*piece("1", "0", "20"), *piece("2", "2", "20")])
    earlier = [LotValues(1, "L-0", NOW, {OFFSET.name: (("1", OFFSET.low), ("2", OFFSET.high))})]  # type: ignore[arg-type]
    chart = values_chart(OFFSET, "L-1", verdict, 0, earlier)
    assert chart is not None
    low, high = chart.limits
    assert TOP < high.place < low.place < BASE
    assert [dot.kind for dot in chart.dots] == ["earlier", "earlier", "good", "failing"]
    assert [dot.y for dot in chart.dots[:2]] == [low.place, high.place]
    assert high.place < chart.dots[2].y < low.place
    assert chart.dots[3].y < high.place
    assert chart.dots[1].x < chart.columns[1].x < chart.dots[2].x
    assert chart.columns[0].mean_y == pytest.approx((low.place + high.place) / 2, abs=0.1)
    assert "1 out of limits, beside 1 earlier lot" in chart.summary
    assert (
        values_chart(Channel("x", None, None, ""), "L", measurements.judge(CHECK, []), 0, [])
        is None
    )


def test_the_limits_stand_under_the_checks_in_the_navigation(browser: FlaskClient) -> None:
    for path in ("/checks", "/checks/limits?part=BL-0101"):
        (here,) = re.findall(r'<a href="([^"]+)"\s+aria-current="page"', browser.get(path).text)
        assert here == "/checks"
