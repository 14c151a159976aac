"""The main job through HTTP alone, against a server of its own: every number is explained."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
import zxingcpp
from PIL import Image

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[str]:
    """The address of a server on a free port, with an empty database."""
    command = [
        sys.executable, "-m", "msdtrack", "serve", "--host", "127.0.0.1", "--port", "0",
        "--database", f"sqlite:///{tmp_path / 'job.db'}",
    ]  # fmt: skip
    with subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stdout is not None
            line = process.stdout.readline()
            assert "http://" in line, f"{line}{process.stderr.read() if process.stderr else ''}"
            yield "http://" + line.split("http://")[1].split()[0].rstrip("/") + "/api/v1"
        finally:
            process.terminate()
            process.communicate(timeout=20)


def call(server: str, path: str, body: Any = None, method: str | None = None) -> tuple[int, bytes]:
    """Return status and body of an answer."""
    request = urllib.request.Request(server + path, method=method)
    if body is not None:
        request.data = json.dumps(body).encode()
        request.add_header("Content-Type", "application/json")
    # The server says where it serves just before it listens.
    for _ in range(50):
        try:
            with urllib.request.urlopen(request, timeout=20) as answer:
                return answer.status, answer.read()
        except urllib.error.HTTPError as error:
            with error:
                return error.code, error.read()
        except urllib.error.URLError:
            time.sleep(0.1)
    raise AssertionError("the server does not answer")


def send(server: str, path: str, body: Any = None, status: int = 200) -> Any:
    """Return the JSON of an answer that has the status."""
    code, content = call(server, path, body)
    assert code == status, content.decode()
    return json.loads(content)


def text(moment: datetime) -> str:
    """Return a moment as the API writes it."""
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def test_a_day_out_of_the_bag_is_a_day_of_the_week_it_may_be_out(server: str) -> None:
    """24 hours at 26 °C / 58 % RH are 24/168 of the floor life of a level 3 part of 1.4 mm.

    Source: J-STD-033, Table 5-1 (level 3: 168 h at 30 °C / 60 % RH or less) and Table 4-1
    (level 3, 1.4 mm or less, 40 °C, floor life exceeded by up to 72 h: 9 days).
    """
    now = datetime.now(UTC).replace(microsecond=0)
    opened = now - timedelta(hours=24)

    part = {"number": "BUOY-7", "description": "Pressure front end", "msl": "3", "body_mm": 1.4}
    send(server, "/parts", part, 201)
    place = send(server, "/places", {"name": "Line 1", "kind": "line"}, 201)["code"]
    carrier = send(
        server,
        "/carriers",
        {
            "part": "BUOY-7", "lot": "L-2231", "quantity": 500, "kind": "reel", "place": place,
            "sealed_on": (now - timedelta(days=30)).date().isoformat(),
            "received_at": text(now - timedelta(days=7)),
        },
        201,
    )["code"]  # fmt: skip

    status, png = call(server, f"/carriers/{carrier}/label.png?dpi=203")
    assert status == 200
    printed = zxingcpp.read_barcodes(Image.open(io.BytesIO(png)))
    assert [found.text for found in printed] == [carrier]

    opening = {
        "id": str(uuid4()), "carrier": carrier, "kind": "open", "at": text(opened),
        "hic": {"5": "dry", "10": "dry", "60": "dry"},
    }  # fmt: skip
    assert send(server, "/events", opening, 201)["results"][0]["result"] == "created"

    day = [opened + timedelta(minutes=5 * n) for n in range(24 * 12 + 1)]
    readings = [{"place": place, "at": text(at), "temp_c": 26, "rh_pct": 58} for at in day]
    assert send(server, "/readings", readings) == {
        "accepted": len(readings), "duplicates": 0, "refused": [],
    }  # fmt: skip

    for hours in (0, 1, 7.5, 12, 24):
        at = text(opened + timedelta(hours=hours))
        state = send(server, f"/carriers/{carrier}?at={at}")
        life = state["floor_life"]
        assert (state["verdict"], state["status"], state["at"]) == ("use", "exposed", at)
        assert life["label_hours"] == 168
        assert life["used_share"] == pytest.approx(hours / 168, abs=1e-9)
        assert life["used_hours_at_label"] == pytest.approx(hours, abs=1e-6)
        assert life["remaining_hours_now"] == pytest.approx(168 - hours, abs=1e-6)
        assert life["expires_at"] == text(opened + timedelta(hours=168))
        assert life["assumed_share"] == life["provisional_share"] == 0

        working = send(server, f"/carriers/{carrier}/working?at={at}")
        lines = working["intervals"]
        assert sum(line["share"] for line in lines) == pytest.approx(working["used_share"])
        assert working["used_share"] == life["used_share"]
        assert sum(line["hours"] for line in lines) == pytest.approx(hours)
        for line in lines:
            assert line["share"] == pytest.approx(line["hours"] / 168)
            assert (line["place"], line["basis"]) == (place, "measured")
            assert line["raw"] == {"temp_c": 26, "rh_pct": 58}
            assert line["guarded"] == {"temp_c": 26.5, "rh_pct": 61}
            assert line["cell"]["table"] == "7-1"
            assert "168 h" in line["rate_from"]

        bake = send(server, f"/carriers/{carrier}/bake?at={at}")
        assert (bake["needed"], bake["column"]) == (False, "up_to_72h")
        assert [(one["temp_c"], one["hours"]) for one in bake["options"]] == [(40, 9 * 24)]

    closing = {
        "id": str(uuid4()), "carrier": carrier, "kind": "close", "at": text(now),
        "desiccant": "fresh", "hic": "fresh", "seal": "heat",
    }  # fmt: skip
    closed = send(server, "/events", closing, 201)["results"][0]["state"]
    assert (closed["status"], closed["verdict"], closed["opened_at"]) == ("in_dry_bag", "use", None)
    assert closed["floor_life"]["used_share"] == pytest.approx(24 / 168, abs=1e-9)
    week_later = text(now + timedelta(days=7))
    later = send(server, f"/carriers/{carrier}?at={week_later}")["floor_life"]
    assert later["used_share"] == closed["floor_life"]["used_share"]

    log = send(server, f"/carriers/{carrier}/events")["items"]
    assert [(line["kind"], line["at"]) for line in log] == [
        ("open", text(opened)), ("close", text(now)),
    ]  # fmt: skip
    assert send(server, "/events", opening, 200)["results"][0]["result"] == "duplicate"
    assert send(server, "/health")["status"] == "ok"
