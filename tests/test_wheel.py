"""The wheel, installed elsewhere and used from another folder, has all that it needs."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

from msdtrack import __version__

ROOT = Path(__file__).resolve().parent.parent

LOOK = """
import importlib.metadata, importlib.resources, json
import msdtrack
from msdtrack.resources import resource_dir

data = importlib.resources.files("msdtrack.standard") / "data"

def files(folder):
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())

print(json.dumps({
    "package": msdtrack.__file__,
    "version": importlib.metadata.version("msdtrack"),
    "folders": {n: str(resource_dir(n)) for n in ("templates", "labels", "scenario")},
    "files": {n: files(resource_dir(n)) for n in ("templates", "labels", "scenario")},
    "data": sorted(file.name for file in data.iterdir()),
}))
"""


def _run(*command: str | Path, cwd: Path) -> str:
    keep = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    done = subprocess.run(command, cwd=cwd, env=keep, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from this checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    pip = (sys.executable, "-m", "pip", "--disable-pip-version-check")
    _run(
        *(*pip, "wheel", "--quiet", "--no-deps", "--no-index", "--no-build-isolation"),
        *("--wheel-dir", folder, ROOT),
        cwd=folder,
    )
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def elsewhere(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The Python of another environment, with the wheel and what it depends on.

    The dependencies are lent from this environment by a path file, which needs no network;
    tests/test_layers.py holds that they are declared. An editable msdtrack is not lent by it:
    that stands in a path file of its own, and path files of lent folders are not read.
    """
    folder = tmp_path_factory.mktemp("elsewhere") / "venv"
    _run(sys.executable, "-m", "venv", "--without-pip", folder, cwd=folder.parent)
    python = folder / ("Scripts" if os.name == "nt" else "bin") / "python"
    _run(
        *(sys.executable, "-m", "pip", "--disable-pip-version-check", "--python", python),
        *("install", "--quiet", "--no-deps", "--no-index", wheel),
        cwd=folder,
    )
    find = "import sysconfig; print(sysconfig.get_path('purelib'))"
    site_packages = Path(_run(python, "-c", find, cwd=folder).strip())
    (site_packages / "lent.pth").write_text(sysconfig.get_path("purelib") + "\n")
    return python


def _in_checkout(folder: str) -> list[str]:
    return sorted(
        str(path.relative_to(ROOT / folder))
        for path in (ROOT / folder).rglob("*")
        if path.is_file() and path.suffix != ".pyc"
    )


def test_the_installed_package_has_every_page_layout_table_and_scenario_file(
    elsewhere: Path, tmp_path: Path
) -> None:
    """What the checkout serves from the top level, the wheel serves from inside the package."""
    seen = json.loads(_run(elsewhere, "-c", LOOK, cwd=tmp_path))
    package = Path(seen["package"]).parent
    assert ROOT not in package.parents
    assert seen["version"] == __version__
    for name, source in {
        "templates": "templates",
        "labels": "labels",
        "scenario": "demo/scenario",
    }.items():
        assert seen["folders"][name] == str(package / name)
        assert seen["files"][name] == _in_checkout(source)
        assert seen["files"][name] != []
    assert [f for f in seen["data"] if f.endswith(".toml")] == [
        f for f in _in_checkout("msdtrack/standard/data") if f.endswith(".toml")
    ]


def test_the_installed_command_answers(elsewhere: Path, tmp_path: Path) -> None:
    """`python -m msdtrack` and the script `msdtrack` start, from a folder that is not ours."""
    script = elsewhere.with_name("msdtrack")
    for command in ((elsewhere, "-m", "msdtrack"), (script,)):
        said = _run(*command, "--help", cwd=tmp_path)
        assert "Usage:" in said
        assert "serve" in said


def test_the_wheel_holds_nothing_else(wheel: Path) -> None:
    """No tests, no bootstrap and nothing beside the package ends up in site-packages."""
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
    assert {name.split("/")[0] for name in names} == {
        "msdtrack",
        f"msdtrack-{__version__}.dist-info",
    }
    strays = ("msdtrack/bootstrap", "msdtrack/tests", "msdtrack/demo/")
    assert [name for name in names if name.startswith(strays)] == []
