"""The two commands on a machine that has only Python: what they check, make, keep and say."""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

from msdtrack.bootstrap.python_version import why_too_old
from msdtrack.bootstrap.venv import (
    Checkout,
    SetupFailed,
    ensure_venv,
    lacking_modules,
    make_venv,
    missing_requirements,
    stamped_extras,
    why_rebuild,
    write_stamp,
)

ROOT = Path(__file__).resolve().parent.parent
READ_BY_OLD_PYTHONS = (
    "demo/__main__.py",
    "tests/__main__.py",
    "msdtrack/__init__.py",
    "msdtrack/bootstrap/__init__.py",
    "msdtrack/bootstrap/python_version.py",
)
PYPROJECT = """
[project]
name = "msdtrack"
dependencies = ["click>=8", "colorama; sys_platform == 'no such system'"]
[project.optional-dependencies]
test = ["pytest>=8"]
postgresql = ["psycopg[binary]>=3.1"]
"""
NONE: frozenset[str] = frozenset()
TEST = frozenset({"test"})


def _make_real(checkout: Checkout, extras: frozenset[str] = NONE) -> None:
    """Make a real `.venv` without network: its libraries are lent from this environment."""
    command = [sys.executable, "-m", "venv", "--without-pip", checkout.venv]
    subprocess.run(command, check=True, capture_output=True)
    folders = checkout.venv.glob("lib/*/site-packages")
    site_packages = next(folders, checkout.venv / "Lib" / "site-packages")
    lent = f"{checkout.root}\n{sysconfig.get_path('purelib')}\n"
    (site_packages / "lent.pth").write_text(lent)
    write_stamp(checkout, extras)


@pytest.fixture
def checkout(tmp_path: Path) -> Checkout:
    """A small checkout without a `.venv`; its msdtrack prints its arguments and leaves with 7."""
    folder = tmp_path.resolve() / "checkout"
    for name in READ_BY_OLD_PYTHONS:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, folder / name)
    shutil.copytree(ROOT / "msdtrack/bootstrap", folder / "msdtrack/bootstrap", dirs_exist_ok=True)
    program = "import sys\nprint('ran', *sys.argv[1:])\nsys.exit(7)\n"
    (folder / "msdtrack/__main__.py").write_text(program)
    (folder / "pyproject.toml").write_text(PYPROJECT)
    return Checkout(folder)


@pytest.fixture
def whole(checkout: Checkout) -> Checkout:
    """The small checkout with a `.venv` that can be trusted."""
    _make_real(checkout)
    return checkout


def _start(checkout: Checkout, *command: str) -> subprocess.CompletedProcess[str]:
    """Run one of the two commands as a person would, on a machine without a way out."""
    offline = {**os.environ, "PIP_NO_INDEX": "1", "PYTHONPATH": "/nowhere", "PIP_USER": "1"}
    return subprocess.run(
        [sys.executable, *command],
        cwd=checkout.root,
        env=offline,
        capture_output=True,
        text=True,
        check=False,
    )


def _no_network(checkout: Checkout, extras: frozenset[str]) -> None:
    """Stand for a build that gets as far as an empty `.venv`."""
    checkout.venv.mkdir()
    raise SetupFailed("Offline: the package index can't be reached.")


def _must_not_run(checkout: Checkout, extras: frozenset[str]) -> None:
    raise AssertionError("nothing was to be built")


# Python itself


@pytest.mark.parametrize("name", READ_BY_OLD_PYTHONS)
def test_what_old_pythons_read_has_nothing_new_in_it(name: str) -> None:
    """Python 2.7 and 3.4 can parse these files: plain ASCII, and none of the later syntax."""
    source = (ROOT / name).read_text("ascii")
    new = (
        *(ast.JoinedStr, ast.AnnAssign, ast.NamedExpr, ast.Match, ast.AsyncFunctionDef),
        *(ast.Nonlocal, ast.Starred, ast.YieldFrom, ast.Await),
    )
    for node in ast.walk(ast.parse(source)):
        assert not isinstance(node, new), f"line {getattr(node, 'lineno', '?')}"
        if isinstance(node, ast.FunctionDef):
            args = node.args
            assert [*args.kwonlyargs, *args.posonlyargs] == []
            assert node.returns is None
            assert all(arg.annotation is None for arg in args.args)
        if isinstance(node, ast.Raise):
            assert node.cause is None
        if isinstance(node, ast.Call):
            assert not (isinstance(node.func, ast.Name) and node.func.id == "print")


@pytest.mark.parametrize(
    ("version", "enough"),
    [((2, 7), False), ((3, 9), False), ((3, 10), False), ((3, 11), True), ((4, 0), True)],
)
def test_python_3_11_is_the_oldest_that_will_do(version: tuple[int, int], enough: bool) -> None:
    """The numbers are compared as numbers: 3.9 is older than 3.11."""
    assert (why_too_old(version) is None) == enough


@pytest.mark.parametrize("command", ["demo", "tests"])
def test_a_python_too_old_is_told_so(checkout: Checkout, command: str) -> None:
    """The command says which Python it needs and which this is, and makes nothing."""
    pretend = (
        "import collections, runpy, sys\n"
        "kind = collections.namedtuple('v', 'major minor micro releaselevel serial')\n"
        "sys.version_info = kind(3, 9, 2, 'final', 0)\n"
        f"runpy.run_path({command!r}, run_name='__main__')\n"
    )
    done = _start(checkout, "-c", pretend)
    assert done.returncode == 1
    assert "msdtrack needs Python 3.11 or newer; this is 3.9." in done.stderr
    assert not checkout.venv.exists()


def test_a_python_without_venv_is_told_the_package() -> None:
    """Debian splits venv and ensurepip off; the words name what brings them."""
    assert lacking_modules((3, 12), present=lambda name: True) is None
    said = lacking_modules((3, 12), present=lambda name: name != "ensurepip")
    assert said is not None
    assert "no ensurepip" in said
    assert "apt-get install python3-venv" in said
    assert "python3.12-venv" in said
    both = lacking_modules((3, 12), present=lambda name: False)
    assert both is not None
    assert "no venv and no ensurepip" in both


# Whether a .venv can be trusted


def test_a_whole_venv_is_left_alone(whole: Checkout) -> None:
    """No reason to rebuild, and nothing is built."""
    assert why_rebuild(whole) is None
    ensure_venv(whole, build=_must_not_run, add=_must_not_run)


def test_no_venv_is_a_reason(checkout: Checkout) -> None:
    """The first start."""
    assert why_rebuild(checkout) == "There is no .venv yet."


@pytest.mark.parametrize("stamp", [None, "", "[]", "{}", '{"path": '])
def test_a_half_made_venv_is_seen(whole: Checkout, stamp: str | None) -> None:
    """The stamp is written last: without a readable one the making was broken off."""
    if stamp is None:
        whole.stamp.unlink()
    else:
        whole.stamp.write_text(stamp)
    assert why_rebuild(whole) == "The .venv is half-made."


def test_a_moved_venv_is_seen(whole: Checkout) -> None:
    """A folder that was copied or renamed still points to where it was."""
    moved = Checkout(whole.root.with_name("moved"))
    whole.root.rename(moved.root)
    assert why_rebuild(moved) == "The .venv was moved here from another folder."


def test_a_venv_whose_python_is_gone_is_seen(whole: Checkout) -> None:
    """The Python it was made with was removed from the machine."""
    whole.python.unlink()
    whole.python.symlink_to("/nowhere/python3")
    assert why_rebuild(whole) == "The Python in .venv does not run any more."


def test_a_venv_of_another_python_is_seen(whole: Checkout) -> None:
    """Its interpreter runs, but is no longer the one of this environment."""
    whole.python.unlink()
    whole.python.write_text(f'#!/bin/sh\nexec {sys.executable} "$@"\n')
    whole.python.chmod(0o755)
    assert why_rebuild(whole) == "The .venv belongs to another Python."


def test_a_venv_older_than_pyproject_is_seen(whole: Checkout) -> None:
    """A changed pyproject.toml may ask for other libraries; a touched one does not."""
    pyproject = whole.root / "pyproject.toml"
    os.utime(pyproject)
    assert why_rebuild(whole) is None
    pyproject.write_text(PYPROJECT + "\n[tool.other]\n")
    assert why_rebuild(whole) == "The .venv is older than pyproject.toml."


# Making one anew


def test_a_rebuilt_venv_replaces_the_old_one(whole: Checkout) -> None:
    """After a rebuild only the new one is there, and it is trusted."""
    (whole.venv / "old").touch()
    whole.stamp.unlink()
    ensure_venv(whole, TEST, build=_make_real)
    assert why_rebuild(whole) is None
    assert stamped_extras(whole) == TEST
    assert not (whole.venv / "old").exists()
    assert not whole.set_aside.exists()


@pytest.mark.parametrize("broken_by", [SetupFailed("no"), KeyboardInterrupt()])
def test_a_rebuild_that_fails_puts_the_old_one_back(
    whole: Checkout, broken_by: BaseException
) -> None:
    """Failing or being broken off with Ctrl-C loses nothing that was there."""
    (whole.venv / "old").touch()
    whole.stamp.unlink()

    def fail(checkout: Checkout, extras: frozenset[str]) -> None:
        checkout.venv.mkdir()
        raise broken_by

    if isinstance(broken_by, KeyboardInterrupt):
        with pytest.raises(KeyboardInterrupt):
            ensure_venv(whole, build=fail)
    else:
        ensure_venv(whole, build=fail)
    assert (whole.venv / "old").exists()
    assert not whole.set_aside.exists()


def test_a_rebuild_that_was_killed_is_taken_up_again(whole: Checkout) -> None:
    """The one set aside is still there to go back to, and goes once a new one is whole."""
    whole.venv.rename(whole.set_aside)
    whole.venv.mkdir()
    ensure_venv(whole, build=_no_network)
    assert whole.python.exists()
    ensure_venv(whole, build=_make_real)
    assert why_rebuild(whole) is None
    assert not whole.set_aside.exists()


def test_more_extras_are_added_without_a_rebuild(whole: Checkout) -> None:
    """`python3 tests` after `python3 demo` adds to the .venv, under a demo that may be running."""
    added = []

    def add(checkout: Checkout, extras: frozenset[str]) -> None:
        added.append(extras)
        write_stamp(checkout, extras)

    ensure_venv(whole, TEST, build=_must_not_run, add=add)
    ensure_venv(whole, NONE, build=_must_not_run, add=add)
    assert added == [TEST]
    assert stamped_extras(whole) == TEST


# Offline


def test_offline_with_a_complete_venv_goes_on(
    whole: Checkout, capsys: pytest.CaptureFixture[str]
) -> None:
    """An out-of-date .venv that has all that is asked for is used, and that is said."""
    (whole.root / "pyproject.toml").write_text(PYPROJECT + "\n[tool.other]\n")
    ensure_venv(whole, build=_no_network)
    said = capsys.readouterr().err
    assert "The .venv is older than pyproject.toml." in said
    assert "Offline" in said
    assert "Going on with the .venv that is there" in said


def test_offline_without_what_is_needed_is_refused_with_words(whole: Checkout) -> None:
    """What is missing is named, with what to do."""
    new = PYPROJECT.replace('"click>=8"', '"click>=8", "no-such-library-xyz"')
    (whole.root / "pyproject.toml").write_text(new)
    with pytest.raises(SetupFailed) as failure:
        ensure_venv(whole, build=_no_network)
    said = str(failure.value)
    assert "Offline" in said
    assert "Not installed: no-such-library-xyz." in said
    assert "Connect once" in said


def test_what_is_missing_is_asked_of_the_venv_itself(whole: Checkout) -> None:
    """Versions, extras and markers count; a moved msdtrack counts as missing."""
    assert missing_requirements(whole, frozenset({"test", "postgresql"})) == []
    pyproject = whole.root / "pyproject.toml"
    pyproject.write_text(PYPROJECT.replace("pytest>=8", "pytest>=9999"))
    assert missing_requirements(whole, NONE) == []
    assert missing_requirements(whole, TEST) == ["pytest>=9999"]
    moved = Checkout(whole.root.with_name("moved"))
    shutil.copytree(whole.root, moved.root, symlinks=True)
    assert missing_requirements(moved, NONE) == [f"msdtrack from {moved.root}"]


# The commands themselves


def test_demo_hands_over_arguments_and_exit_code(whole: Checkout) -> None:
    """`python3 demo` with a whole .venv is `msdtrack demo`, quietly."""
    done = _start(whole, "demo", "--fresh", "--port", "9001")
    assert done.stdout == "ran demo --fresh --port 9001\n"
    assert done.stderr == ""
    assert done.returncode == 7


def test_the_first_demo_without_a_connection_says_so(checkout: Checkout) -> None:
    """A real .venv is made and its real pip asked; no index can be reached, and words say so."""
    done = _start(checkout, "demo")
    assert done.returncode == 1
    assert "There is no .venv yet." in done.stderr
    assert "msdtrack can't start without its packages" in done.stderr
    assert "Traceback" not in done.stderr
    assert why_rebuild(checkout) == "The .venv is half-made."


def test_the_new_venv_has_a_pip_of_its_own(checkout: Checkout) -> None:
    """What is installed later is installed by it, whatever pip the machine has."""
    make_venv(checkout)
    done = subprocess.run(
        [checkout.python, "-m", "pip", "--version"], capture_output=True, text=True, check=True
    )
    assert str(checkout.venv) in done.stdout


def test_tests_run_pytest_with_the_arguments_and_pass_its_exit_code_on(whole: Checkout) -> None:
    """`python3 tests --no-lint -k ...` runs that choice from the top folder."""
    write_stamp(whole, frozenset({"test", "postgresql"}))
    (whole.root / "tests" / "test_two.py").write_text(
        "def test_good():\n    pass\ndef test_bad():\n    assert False\n"
    )
    good = _start(whole, "tests", "--no-lint", "-k", "good")
    assert good.returncode == 0, good.stdout + good.stderr
    assert "1 passed, 1 deselected" in good.stdout
    bad = _start(whole, "tests", "--no-lint", "-k", "bad")
    assert bad.returncode == 1
    nothing = _start(whole, "tests", "--no-lint", "-k", "neither")
    assert nothing.returncode == 5


@pytest.mark.parametrize("option", ["--help", "-h"])
def test_tests_show_their_help_and_do_nothing_else(checkout: Checkout, option: str) -> None:
    """Without a .venv, and without making one; it says how options reach pytest."""
    done = _start(checkout, "tests", option)
    assert (done.returncode, done.stderr) == (0, "")
    for words in ("--no-lint", "--require-all", "passed on to pytest", "pytest --help"):
        assert words in done.stdout
    assert not checkout.venv.exists()


def test_tests_fail_if_a_check_before_pytest_fails(whole: Checkout) -> None:
    """A finding of ruff fails the run though every test passes, and is named at the end."""
    write_stamp(whole, frozenset({"test", "postgresql"}))
    (whole.root / "tests" / "test_one.py").write_text("import os\n\n\ndef test_good():\n    pass\n")
    done = _start(whole, "tests", "tests/test_one.py")
    assert "1 passed" in done.stdout
    assert "Failed before pytest: ruff check" in done.stderr
    assert done.returncode == 1
