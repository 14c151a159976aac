"""Tables, settings, backup and help on the command line."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from msdtrack.config import SETTINGS
from msdtrack.standard.tables import published_tables
from tests.cli.conftest import Run, Shop


def test_every_table_is_shown_with_its_source(run: Run) -> None:
    """No figure without its provenance, and the reader is told to check."""
    told = run("tables").stdout
    assert "Check every table against" in told.replace("\n", " ")
    for table in published_tables():
        assert table.title in told
    answer = json.loads(run("tables", "--json").stdout)
    assert [one["key"] for one in answer["items"]] == [one.key for one in published_tables()]
    assert all(one["source"] and one["status"] for one in answer["items"])


def test_settings_say_where_each_comes_from(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A flag, else the environment, else the file, else the default; secrets stay secret."""
    config = tmp_path / "site.toml"
    config.write_text('site_name = "Buoys"\nthreads = 4\nsecret_key = "quiet"\n', "utf-8")
    monkeypatch.setenv("MSDTRACK_THREADS", "6")
    result = run(
        *("--config", config, "--database", "postgresql://ann:hush@db/buoys"),
        *("settings", "--json"),
    )
    told = {one["name"]: one for one in json.loads(result.stdout)["items"]}
    assert list(told) == [setting.name for setting in SETTINGS]
    assert (told["threads"]["value"], told["threads"]["from"]) == (6, "MSDTRACK_THREADS")
    assert (told["site_name"]["value"], told["site_name"]["from"]) == ("Buoys", str(config))
    assert told["port"]["from"] == "default"
    assert told["database"]["from"] == "--database"
    assert "hush" not in result.stdout
    assert "quiet" not in result.stdout
    words = run("--config", config, "settings").stdout
    assert all(setting.name in words for setting in SETTINGS)
    assert "quiet" not in words


@pytest.mark.parametrize(
    "arguments",
    [("--timezone", "Nowhere/Else"), ("--database", "mysql://x/y"), ("--config", "none.toml")],
)
def test_a_setting_that_cant_be_used_is_wrong_usage(run: Run, arguments: tuple[str, str]) -> None:
    """Exit code 2, before anything is opened."""
    assert run(*arguments, "watch").exit_code == 2


def test_a_backup_is_a_whole_database(run: Run, shop: Shop) -> None:
    """It is checked before it counts, and never written over another file."""
    result = run("--database", shop.url, "backup", "copy.db", "--json")
    assert result.exit_code == 0
    assert json.loads(result.stdout)["rows"]["carrier"] == 2
    with closing(sqlite3.connect("copy.db")) as copy:
        assert copy.execute("SELECT count(*) FROM carrier").fetchone() == (2,)
    lost = run("--database", shop.url, "backup", "no such folder/copy.db")
    assert lost.exit_code == 1
    assert "There is no folder" in lost.stderr
    again = run("--database", shop.url, "backup", "copy.db")
    assert again.exit_code == 1
    assert again.stderr.startswith("msdtrack: conflict: ")


def test_the_standings_can_be_dropped_and_computed_anew(run: Run, shop: Shop) -> None:
    """The watch list says the same afterwards."""
    before = run("--database", shop.url, "watch", "--json").stdout
    result = run("--database", shop.url, "rebuild")
    assert result.exit_code == 0
    assert result.stdout.startswith("Computed anew: the standings of ")
    assert run("--database", shop.url, "watch", "--json").stdout == before


def test_help_documents_the_exit_codes(run: Run) -> None:
    """Whoever builds on it can read what a code means."""
    told = run("--help").stdout
    assert "Exit codes:" in told
    for command in ("serve", "demo", "import", "label", "state", "working", "watch", "tables"):
        assert f"  {command} " in told
