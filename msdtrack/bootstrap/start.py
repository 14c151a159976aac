"""What `python3 demo` and `python3 tests` do once this Python is known to be new enough."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from msdtrack.bootstrap.venv import (
    Checkout,
    SetupFailed,
    ensure_venv,
    environment,
    lacking_modules,
    say,
    why_rebuild,
)

ROOT = Path(__file__).resolve().parent.parent.parent
TEST_EXTRAS = frozenset({"test", "postgresql"})

TESTS_HELP = """\
Usage: python3 tests [--no-lint] [--require-all] [options and paths for pytest]

Sets up .venv with all that the tests need, then runs ruff, mypy and pytest.

  --no-lint      leave out ruff and mypy
  --require-all  a test that can't run here, for want of Chromium or PostgreSQL, is a failure
  -h, --help     show this, and do nothing else

Everything else is passed on to pytest, which runs in the top folder:

  python3 tests --no-lint tests/exposure   one folder, or one file
  python3 tests -k "reset and not bake"    tests by words of their names
  python3 tests -x --lf                    what failed last, up to the first failure
  python3 tests -m "not browser"           without the tests of a marker

What else pytest knows: python -m pytest --help, with the Python of .venv.
"""


def _prepare(extras: frozenset[str]) -> Checkout:
    """Return the checkout this file stands in, with its `.venv` ready; else leave with words."""
    lacking = lacking_modules(sys.version_info[:2])
    checkout = Checkout(ROOT)
    if lacking is not None and why_rebuild(checkout) is not None:
        sys.exit(lacking)
    try:
        ensure_venv(checkout, extras)
    except SetupFailed as failure:
        sys.exit(str(failure))
    except KeyboardInterrupt:
        sys.exit("Broken off; nothing was changed.")
    return checkout


def _run(command: Sequence[str | Path], cwd: Path | None = None) -> int:
    """Run a command to its end and return its exit code; Ctrl-C is the command's to answer."""
    process = subprocess.Popen(command, cwd=cwd, env=environment())
    while True:
        try:
            return process.wait()
        except KeyboardInterrupt:
            continue


def run_demo(argv: Sequence[str]) -> int:
    """Set up `.venv` and become `msdtrack demo` with the same arguments; return its exit code."""
    checkout = _prepare(frozenset())
    command = [str(checkout.python), "-m", "msdtrack", "demo", *argv]
    if os.name == "nt":
        return _run(command)
    # The same process goes on as msdtrack, so that signals and the exit code are its own.
    return os.execve(command[0], command, environment())


def run_tests(argv: Sequence[str]) -> int:
    """Set up `.venv`, then run ruff, mypy and pytest; return 0 if all of them passed.

    Args:
        argv: Arguments for pytest, run from the top folder; `--no-lint` leaves out ruff and mypy,
            `--help` only shows what there is.
    """
    if {"-h", "--help"} & set(argv):
        print(TESTS_HELP, end="")
        return 0
    checkout = _prepare(TEST_EXTRAS)
    python = [str(checkout.python), "-m"]
    for_pytest = [argument for argument in argv if argument != "--no-lint"]
    checks: dict[str, list[str]] = {
        "ruff check": ["ruff", "check", "."],
        "ruff format": ["ruff", "format", "--check", "."],
        "mypy": ["mypy"],
    }
    if "--no-lint" in argv:
        checks.clear()
    codes = {}
    for name, command in checks.items():
        say(f"== {name}")
        codes[name] = _run([*python, *command], checkout.root)
    failed = [name for name, code in codes.items() if code]
    say("== pytest")
    code = _run([*python, "pytest", *for_pytest], checkout.root)
    if failed:
        say(f"Failed before pytest: {', '.join(failed)} (see above).")
    return code or int(bool(failed))
