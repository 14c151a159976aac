"""No test is skipped quietly: it is listed with its reason, or fails under `--require-all`."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

NEEDY_TESTS = """
import pytest

def test_runs():
    pass

@pytest.mark.usefixtures("chromium_path")
def test_needs_a_browser():
    pass
"""
NEEDY_FILE = 'import pytest\npytest.importorskip("no_module_of_this_name")\n'


def _run(folder: Path, *args: str) -> subprocess.CompletedProcess[str]:
    # The programs are looked for on the path: with none on it there is no Chromium.
    return subprocess.run(
        [
            *(sys.executable, "-m", "pytest", "-p", "tests.conftest", "-p", "no:cacheprovider"),
            *("-c", "/dev/null", f"--rootdir={folder}", str(folder), *args),
        ],
        cwd=ROOT,
        env={"PATH": str(folder)},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def needy(tmp_path: Path) -> Path:
    """A folder with one test that runs and one that needs a browser."""
    (tmp_path / "test_needy.py").write_text(NEEDY_TESTS)
    return tmp_path


def test_a_test_that_was_not_run_is_listed_with_the_line_that_installs(needy: Path) -> None:
    """Without Chromium the run passes, and says what to type to have the rest run."""
    done = _run(needy)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "1 passed, 1 skipped" in done.stdout
    assert "1 test: Chromium is not installed; to run: apt-get install chromium" in done.stdout


def test_require_all_fails_what_was_not_run(needy: Path) -> None:
    """With --require-all a test without its Chromium is a failure."""
    done = _run(needy, "--require-all")
    assert done.returncode == 1, done.stdout + done.stderr
    assert "1 failed, 1 passed" in done.stdout or "1 passed, 1 error" in done.stdout
    assert "must run (--require-all): Chromium is not installed" in done.stdout


def test_require_all_fails_a_file_that_was_not_run(tmp_path: Path) -> None:
    """With --require-all a whole file that skips itself is a failure too."""
    (tmp_path / "test_needy_file.py").write_text(NEEDY_FILE)
    done = _run(tmp_path, "--require-all")
    assert done.returncode not in (0, 5), done.stdout + done.stderr
    assert "must run (--require-all)" in done.stdout
