"""The scan station in a browser: scan as a scanner does, see what it says and what came of it."""

from __future__ import annotations

import json
import urllib.request

from playwright.sync_api import Page, expect

from msdtrack.printing.codes import make_action_code
from tests.browser.live_server import LiveServer

OPEN, UNDO, TAKE = (make_action_code(name) for name in ("OPEN", "UNDO", "TAKE"))

HEAR_TONES = """
window.tones = [];
const start = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (...at) {
  window.tones.push(this.frequency.value);
  return start.apply(this, at);
};
"""


def answered(server: LiveServer, path: str):
    """Return what the API answers."""
    with urllib.request.urlopen(f"{server.url}/api/v1{path}", timeout=10) as answer:
        return json.load(answer)


def scanned(server: LiveServer, carrier: str) -> list[dict[str, object]]:
    """Return the events of a carrier that were scanned at the station."""
    lines = answered(server, f"/carriers/{carrier}/events")["items"]
    return [line for line in lines if line.get("station") == "Bench"]


def title(page: Page, text: str) -> None:
    """Wait until the answer's title is this."""
    expect(page.locator("[data-title]")).to_have_text(text)
