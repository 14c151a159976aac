"""`msdtrack import`: what is taken in, what is refused, and how a machine is told."""

from __future__ import annotations

import json
from pathlib import Path

from msdtrack.printing.codes import make_code
from tests.cli.conftest import Run, Shop


def test_good_lines_are_kept_and_bad_ones_listed(run: Run, tmp_path: Path) -> None:
    """The exit code says that something was refused; a database is made where there is none."""
    file = tmp_path / "parts.csv"
    file.write_text("number;msl;body_mm\nBL-1;3;1,4\nBL-2;9;1,4\n", "utf-8")
    database = f"sqlite:///{tmp_path / 'new.db'}"
    result = run("--database", database, "import", "parts", file)
    assert result.exit_code == 1
    assert result.stderr.startswith("line 3: ")
    assert result.stdout == "1 parts new, 0 on file before, 1 refused\n"
    file.write_text("number;msl;body_mm\nBL-1;3;1,4\n", "utf-8")
    again = run("--database", database, "import", "parts", file)
    assert again.exit_code == 0
    assert again.stdout == "0 parts new, 1 on file before, 0 refused\n"


def test_carriers_are_named_by_line(run: Run, shop: Shop) -> None:
    """So that each label can be stuck on the right reel."""
    text = "part,lot,quantity,kind\nBL-0312,L-9,800,reel\n"
    result = run("--database", shop.url, "import", "carriers", "-", given=text)
    assert result.exit_code == 0
    assert f"line 2: received as {make_code('C', 3)}" in result.stdout
    again = run("--database", shop.url, "import", "carriers", "-", given=text)
    assert f"line 2: was received before as {make_code('C', 3)}" in again.stdout


def test_readings_answer_a_machine_as_the_api_does(run: Run, shop: Shop) -> None:
    """Out of order, twice, in local time, with a line that can't be."""
    text = (
        "place\tat\ttemp_c\trh_pct\n"
        "Line 1\t2026-11-24 14:02\t26,5\t51,5\n"
        "Line 1\t2026-11-24 14:01\t26,5\t51,5\n"
        "Line 1\t2026-11-24 14:02\t26,5\t51,5\n"
        "Line 1\t2026-11-24 14:04\twarm\t51,5\n"
    )
    arguments = ("--database", shop.url, "--timezone", "Europe/Berlin", "import", "readings", "-")
    tried = run(*arguments, "--json", "--dry-run", given=text)
    assert json.loads(tried.stdout)["accepted"] == 2
    result = run(*arguments, "--json", given=text)
    assert result.exit_code == 1
    answer = json.loads(result.stdout)
    assert (answer["accepted"], answer["duplicates"]) == (2, 1)
    assert [one["row"] for one in answer["refused"]] == [5]
    assert answer["dry_run"] is False


def test_a_dry_run_keeps_nothing(run: Run, shop: Shop) -> None:
    """It only says what would become of each line."""
    text = "number,msl\nBL-77,3\n"
    for _ in range(2):
        result = run("--database", shop.url, "import", "parts", "-", "--dry-run", given=text)
        assert result.stdout == "Dry run, nothing kept: 1 parts new, 0 on file before, 0 refused\n"


def test_what_is_no_table_is_refused(run: Run, shop: Shop) -> None:
    """A file that is no UTF-8, one without columns, one that is not there."""
    latin = run("--database", shop.url, "import", "parts", "-", given=b"number,msl\n\xe4,3\n")
    assert latin.exit_code == 1
    assert "save it as CSV UTF-8" in latin.stderr
    empty = run("--database", shop.url, "import", "readings", "-", given="")
    assert empty.exit_code == 1
    assert "The file is empty" in empty.stderr
    assert run("--database", shop.url, "import", "parts", "none.csv").exit_code == 2
