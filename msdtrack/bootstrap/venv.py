"""The checkout's own `.venv`: whether it can be trusted, and how a new one is made.

A `.venv` is trusted if the stamp in it, written last, says that it was made here, from this
`pyproject.toml`, for the Python that it still runs. One that is not is set aside, a new one is
built, and if that fails (no connection, say) the old one is put back and used if it has all that
is needed.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

# What pip and urllib3 say when there is no way to the package index.
_OFFLINE_SIGNS = (
    "Failed to establish a new connection",
    "Name or service not known",
    "Temporary failure in name resolution",
    "getaddrinfo failed",
    "Network is unreachable",
    "Connection refused",
    "ConnectTimeout",
    "ReadTimeoutError",
    "ProxyError",
    "from versions: none",
)

_SAY_WHERE = "import sys; print(sys.prefix); print('%d.%d' % sys.version_info[:2])"

# Runs in the .venv: prints what pyproject.toml asks for (with the extras named) and is not there.
_SAY_MISSING = """
import importlib.metadata, importlib.util, pathlib, sys, tomllib
from pip._vendor.packaging.requirements import Requirement
with open(sys.argv[1], "rb") as file:
    project = tomllib.load(file)["project"]
wanted = [project["name"], *project["dependencies"]]
for extra in sys.argv[2:]:
    wanted += project["optional-dependencies"][extra]
for line in wanted:
    requirement = Requirement(line)
    if requirement.marker is not None and not requirement.marker.evaluate():
        continue
    try:
        version = importlib.metadata.version(requirement.name)
    except importlib.metadata.PackageNotFoundError:
        print(line)
    else:
        if not requirement.specifier.contains(version, prereleases=True):
            print(line)
spec = importlib.util.find_spec("msdtrack")
root = pathlib.Path(sys.argv[1]).resolve().parent
if spec is None or not spec.origin or root not in pathlib.Path(spec.origin).resolve().parents:
    print("msdtrack from " + str(root))
"""


class SetupFailed(Exception):
    """The `.venv` can't be made or used; the message says what to do."""


@dataclass(frozen=True, slots=True)
class Checkout:
    """A copy of the project on disk, and the names of what is made in it.

    Attributes:
        root: The folder that holds `pyproject.toml`.
    """

    root: Path

    @property
    def venv(self) -> Path:
        """Where the virtual environment stands."""
        return self.root / ".venv"

    @property
    def set_aside(self) -> Path:
        """Where the old virtual environment waits while a new one is built."""
        return self.root / ".venv.old"

    @property
    def python(self) -> Path:
        """The interpreter of the virtual environment."""
        if os.name == "nt":
            return self.venv / "Scripts" / "python.exe"
        return self.venv / "bin" / "python"

    @property
    def stamp(self) -> Path:
        """The file, written last, that tells what the virtual environment was made from."""
        return self.venv / "msdtrack-stamp.json"

    def pyproject_hash(self) -> str:
        """The fingerprint of `pyproject.toml` as it is now."""
        return hashlib.sha256((self.root / "pyproject.toml").read_bytes()).hexdigest()


def say(text: str) -> None:
    """Tell the person at the terminal, apart from what a command prints."""
    print(text, file=sys.stderr, flush=True)


def environment() -> dict[str, str]:
    """Return the environment without what would lead Python or pip away from the `.venv`."""
    astray = {"PYTHONHOME", "PYTHONPATH", "PIP_USER", "PIP_TARGET", "PIP_PREFIX"}
    return {name: value for name, value in os.environ.items() if name not in astray}


def _ask(checkout: Checkout, code: str, *args: str) -> list[str] | None:
    """Run `code` in the `.venv`'s Python: the lines it printed, or None if it doesn't run."""
    try:
        done = subprocess.run(
            [checkout.python, "-I", "-c", code, *args],
            capture_output=True,
            text=True,
            timeout=60,
            check=True,
        )
    except (OSError, subprocess.SubprocessError):
        return None
    return done.stdout.splitlines()


def lacking_modules(
    version: tuple[int, int], present: Callable[[str], bool] = lambda name: bool(find_spec(name))
) -> str | None:
    """Return what to install so that a virtual environment can be made, or None if nothing.

    Args:
        version: Major and minor number of this Python, which are part of Debian's package name.
        present: Whether the module of a given name can be imported.
    """
    lacking = [name for name in ("venv", "ensurepip") if not present(name)]
    if not lacking:
        return None
    return (
        f"This Python has no {' and no '.join(lacking)}, which making .venv needs.\n"
        "On Debian and Ubuntu: apt-get install python3-venv\n"
        f"(for a Python beside the system's own: python{version[0]}.{version[1]}-venv)"
    )


def why_rebuild(checkout: Checkout) -> str | None:
    """Return why the `.venv` can't be trusted as it is, or None if it can."""
    if not checkout.venv.is_dir():
        return "There is no .venv yet."
    try:
        stamp = json.loads(checkout.stamp.read_text("utf-8"))
        made_at, made_of, made_by = stamp["path"], stamp["pyproject"], stamp["python"]
    except (OSError, ValueError, KeyError, TypeError):
        return "The .venv is half-made."
    if made_at != str(checkout.venv):
        return "The .venv was moved here from another folder."
    answer = _ask(checkout, _SAY_WHERE)
    if answer is None or len(answer) != 2:
        return "The Python in .venv does not run any more."
    if Path(answer[0]).resolve() != checkout.venv.resolve() or answer[1] != made_by:
        return "The .venv belongs to another Python."
    if made_of != checkout.pyproject_hash():
        return "The .venv is older than pyproject.toml."
    return None


def stamped_extras(checkout: Checkout) -> frozenset[str]:
    """Return the extras that the `.venv` was made with."""
    return frozenset(json.loads(checkout.stamp.read_text("utf-8"))["extras"])


def write_stamp(checkout: Checkout, extras: frozenset[str]) -> None:
    """Mark the `.venv` as whole: made here, from this `pyproject.toml`, with these extras."""
    answer = _ask(checkout, _SAY_WHERE)
    if answer is None:
        raise SetupFailed(f"The Python in {checkout.venv} does not run.")
    stamp = {
        "path": str(checkout.venv),
        "pyproject": checkout.pyproject_hash(),
        "python": answer[1],
        "extras": sorted(extras),
    }
    unfinished = checkout.stamp.with_suffix(".new")
    unfinished.write_text(json.dumps(stamp, indent=1), "utf-8")
    unfinished.replace(checkout.stamp)


def missing_requirements(checkout: Checkout, extras: frozenset[str]) -> list[str] | None:
    """Return what `pyproject.toml` asks for and `.venv` lacks; None if it can't be asked."""
    return _ask(checkout, _SAY_MISSING, str(checkout.root / "pyproject.toml"), *sorted(extras))


def make_venv(checkout: Checkout) -> None:
    """Make an empty `.venv` with pip in it, by the Python that is under this one if it is one."""
    base = sys.executable
    if sys.prefix != sys.base_prefix:
        base = getattr(sys, "_base_executable", sys.executable)
    done = subprocess.run(
        [base, "-m", "venv", str(checkout.venv)],
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if done.returncode:
        raise SetupFailed(f"{done.stdout.strip()}\nPython could not make {checkout.venv}.")


def install(checkout: Checkout, extras: frozenset[str]) -> None:
    """Install msdtrack as it stands here, and what it needs, by the `.venv`'s own pip."""
    names = f"[{','.join(sorted(extras))}]" if extras else ""
    say("Installing msdtrack and what it needs into .venv: a minute or two.")
    done = subprocess.run(
        [
            *(checkout.python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check"),
            *("--retries", "2", "--editable", f"{checkout.root}{names}"),
        ],
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if done.returncode == 0:
        write_stamp(checkout, extras)
        return
    if any(sign in done.stdout for sign in _OFFLINE_SIGNS):
        raise SetupFailed("Offline: the package index can't be reached.")
    raise SetupFailed(f"{done.stdout.strip()}\npip could not install msdtrack.")


def build(checkout: Checkout, extras: frozenset[str]) -> None:
    """Make a new `.venv` and install into it.

    Raises:
        SetupFailed: It could not be made, or the packages could not be had.
    """
    make_venv(checkout)
    install(checkout, extras)


def _remove(folder: Path) -> None:
    if folder.is_symlink() or folder.is_file():
        folder.unlink()
    elif folder.exists():
        shutil.rmtree(folder)


def _rebuild(
    checkout: Checkout,
    extras: frozenset[str],
    build: Callable[[Checkout, frozenset[str]], None],
) -> None:
    """Build anew with the old `.venv` set aside; put it back if that fails or is broken off."""
    if checkout.set_aside.exists():
        # A rebuild was killed before it could put the old one back.
        _remove(checkout.venv)
    elif checkout.venv.exists() or checkout.venv.is_symlink():
        checkout.venv.rename(checkout.set_aside)
    try:
        build(checkout, extras)
    except BaseException:
        if checkout.set_aside.exists():
            _remove(checkout.venv)
            checkout.set_aside.rename(checkout.venv)
        raise
    _remove(checkout.set_aside)


@contextmanager
def _only_one(checkout: Checkout) -> Iterator[None]:
    """Let a second start wait until the first has its `.venv`."""
    with (checkout.root / ".venv.lock").open("a") as lock:
        # Windows has no fcntl; there two first starts at one moment are left to the person.
        if sys.platform != "win32":
            import fcntl

            fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def ensure_venv(
    checkout: Checkout,
    extras: frozenset[str] = frozenset(),
    build: Callable[[Checkout, frozenset[str]], None] = build,
    add: Callable[[Checkout, frozenset[str]], None] = install,
) -> None:
    """Have a `.venv` that can be used: left alone if it is whole, else made anew or added to.

    Args:
        checkout: Where.
        extras: The optional dependencies needed.
        build: Makes a new `.venv` with the extras and stamps it.
        add: Installs more extras into a `.venv` that is whole, and stamps it.

    Raises:
        SetupFailed: There is none and none can be made; the message says why and what to do.
    """
    with _only_one(checkout):
        reason = why_rebuild(checkout)
        try:
            if reason is not None:
                say(f"{reason} Making it now, with Python {sys.version.split()[0]}.")
                _rebuild(checkout, extras, build)
            elif not extras <= stamped_extras(checkout):
                add(checkout, extras | stamped_extras(checkout))
        except SetupFailed as failure:
            lacking = missing_requirements(checkout, extras)
            if lacking == []:
                say(f"{failure}\nGoing on with the .venv that is there: it has all that is needed.")
                return
            listed = f"\nNot installed: {', '.join(lacking)}." if lacking else ""
            raise SetupFailed(
                f"{failure}{listed}\nmsdtrack can't start without its packages. Connect once (or "
                "set PIP_INDEX_URL to an index within reach) and start again."
            ) from None
