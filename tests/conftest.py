"""What every test may ask for: a database of either kind, Chromium; and nothing skipped quietly."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from tests.postgresql_cluster import Cluster, find_programs

# A slow, busy machine is no failure of a law.
settings.register_profile("msdtrack", deadline=None, print_blob=True)
settings.load_profile("msdtrack")

INSTALL = {
    "Chromium": "apt-get install chromium",
    "PostgreSQL": "apt-get install postgresql",
}


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add `--require-all`."""
    parser.addoption(
        "--require-all",
        action="store_true",
        help="tests that need Chromium or PostgreSQL fail without it, instead of being listed",
    )


def _skip_because(report: pytest.TestReport | pytest.CollectReport) -> str:
    if isinstance(report.longrepr, tuple):
        return report.longrepr[2].removeprefix("Skipped: ")
    return str(report.longrepr)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item):
    """With `--require-all`, fail whatever would be skipped, whoever skips it."""
    report = yield
    # An expected failure is reported as skipped too, and did run.
    if report.skipped and not hasattr(report, "wasxfail") and item.config.option.require_all:
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} must run (--require-all): {_skip_because(report)}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector: pytest.Collector):
    """With `--require-all`, fail a whole file that would be skipped."""
    report = yield
    if report.skipped and collector.config.option.require_all:
        report.outcome = "failed"
        report.longrepr = f"{collector.nodeid} must run (--require-all): {_skip_because(report)}"
    return report


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """List what was not run and how to have it run."""
    counts: dict[str, int] = {}
    for report in terminalreporter.stats.get("skipped", []):
        reason = _skip_because(report)
        counts[reason] = counts.get(reason, 0) + 1
    if counts:
        terminalreporter.section("not run")
        for reason, count in sorted(counts.items()):
            terminalreporter.line(f"{count} {'test' if count == 1 else 'tests'}: {reason}")


def _not_here(program: str) -> str:
    return f"{program} is not installed; to run: {INSTALL[program]}"


@pytest.fixture(scope="session")
def chromium_path() -> Path:
    """The Chromium to drive; where there is none the test is listed as not run."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        found = shutil.which(name)
        if found:
            return Path(found)
    pytest.skip(_not_here("Chromium"))


@pytest.fixture(scope="session")
def postgresql_cluster() -> Iterator[Cluster]:
    """A PostgreSQL server of this run's own, thrown away at its end."""
    programs = find_programs()
    if programs is None:
        pytest.skip(_not_here("PostgreSQL"))
    with Cluster(programs) as cluster:
        yield cluster


@pytest.fixture
def postgresql_url(postgresql_cluster: Cluster) -> Iterator[str]:
    """The URL of a fresh, empty PostgreSQL database."""
    with postgresql_cluster.database() as url:
        yield url


@pytest.fixture(
    params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)],
)
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The URL of a fresh, empty database; the test runs on SQLite and on PostgreSQL."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'test.db'}"
    return str(request.getfixturevalue("postgresql_url"))


@pytest.fixture(autouse=True)
def _no_settings_from_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the settings of whoever runs the tests out of them."""
    for name in list(os.environ):
        if name.startswith("MSDTRACK_"):
            monkeypatch.delenv(name)
