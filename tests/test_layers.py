"""Imports only point down, the core is pure, and what is imported is declared.

The layers, top to bottom: cli, web and alarms; services; printing and store; exposure; standard.
"""

from __future__ import annotations

import ast
import importlib.metadata
import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = "msdtrack"

# What each part of the package may import of the others. Everyone may import ANYWHERE.
ANYWHERE = {"digits", "errors", "phrases", "resources", "__version__"}
CORE = {"standard", "exposure"}
BELOW_SERVICES = CORE | {"times", "printing", "store"}
ALLOWED: dict[str, set[str]] = {
    "__init__": set(),
    "digits": set(),
    "errors": set(),
    "phrases": set(),
    "resources": set(),
    "standard": set(),
    "exposure": {"standard"},
    "times": set(),
    "printing": CORE | {"times"},
    "store": CORE | {"times"},
    "services": BELOW_SERVICES,
    "ports": set(),
    "config": set(),
    "alarms": BELOW_SERVICES | {"services", "config"},
    "web": BELOW_SERVICES | {"services", "config"},
    "cli": BELOW_SERVICES | {"services", "config", "ports", "alarms", "web"},
    "__main__": {"cli"},
    # It runs before anything is installed.
    "bootstrap": set(),
}
IMPURE_MODULES = {"flask", "peewee", "playhouse", "os", "time", "logging", "random"}
CLOCK_READERS = {"now", "utcnow", "today"}


@dataclass(frozen=True)
class Import:
    """One imported name with the line that imports it."""

    module: str
    line: int


def imports(tree: ast.AST, module: str, is_package: bool) -> Iterator[Import]:
    """Yield every import of a module; `from x import y` gives x.y, for y may be a module."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield Import(alias.name, node.lineno)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = module.split(".")
                kept = len(above) - node.level + is_package
                base = ".".join([*above[:kept], *([base] if base else [])])
            for alias in node.names:
                yield Import(f"{base}.{alias.name}", node.lineno)


def clocks(tree: ast.AST) -> Iterator[int]:
    """Yield each line that takes now, utcnow or today of something from `datetime`."""
    named = {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for alias in node.names
        if alias.name == "datetime" or getattr(node, "module", None) == "datetime"
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in CLOCK_READERS:
            root = node.value
            while isinstance(root, ast.Attribute):
                root = root.value
            if isinstance(root, ast.Name) and root.id in named:
                yield node.lineno


def findings(source: str, module: str, is_package: bool = False) -> list[str]:
    """Return what breaks the layers in the source of one module of the package."""
    tree = ast.parse(source)
    part = module.split(".")[1] if "." in module else "__init__"
    if part not in ALLOWED:
        return [f"{module} is in no layer: name its part in ALLOWED"]
    found = []
    for name, line in ((i.module, i.line) for i in imports(tree, module, is_package)):
        top, *below = name.split(".")
        if top == PACKAGE and below:
            other = below[0]
            if other not in {part} | ANYWHERE | ALLOWED[part]:
                found.append(f"{module}:{line} imports {name}: {part} is not above {other}")
            if name.startswith(f"{PACKAGE}.store.models") and part != "store":
                found.append(f"{module}:{line} imports {name}: models never leave the store")
        if top in {"peewee", "playhouse"} and part != "store":
            found.append(f"{module}:{line} imports {top}: only the store speaks to the database")
        if top == "flask" and part != "web":
            found.append(f"{module}:{line} imports flask: only the web layer speaks HTTP")
        if part in CORE and top in IMPURE_MODULES:
            found.append(f"{module}:{line} imports {top}: the core is pure")
        if part == "bootstrap" and top not in {*sys.stdlib_module_names, PACKAGE}:
            found.append(f"{module}:{line} imports {top}: it is not installed yet")
    if part in CORE:
        found += [f"{module}:{line} asks the clock: time is an argument" for line in clocks(tree)]
    return found


def _dotted(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {_dotted(path): path for path in sorted((ROOT / PACKAGE).rglob("*.py"))}


@pytest.mark.parametrize(("module", "path"), MODULES.items(), ids=MODULES)
def test_imports_only_point_down(module: str, path: Path) -> None:
    """Every module keeps to its layer; standard and exposure have no clock and no side effects."""
    assert findings(path.read_text("utf-8"), module, path.stem == "__init__") == []


@pytest.mark.parametrize(
    ("module", "source", "said"),
    [
        ("msdtrack.standard.levels", "import msdtrack.exposure.air", "standard is not above"),
        ("msdtrack.exposure.air", "from msdtrack import store", "exposure is not above store"),
        ("msdtrack.exposure.air", "from ..store import events", "exposure is not above store"),
        ("msdtrack.exposure.air", "def f():\n    import os.path", "the core is pure"),
        ("msdtrack.exposure.air", "from time import monotonic", "the core is pure"),
        ("msdtrack.exposure.air", "from datetime import datetime as d\nd.now()", "the clock"),
        ("msdtrack.exposure.air", "import datetime as d\nd.datetime.utcnow", "the clock"),
        ("msdtrack.standard.levels", "from datetime import date\ndate.today()", "the clock"),
        ("msdtrack.printing.label", "from msdtrack.store import queries", "not above store"),
        ("msdtrack.store.queries", "from msdtrack.services import scan", "not above services"),
        ("msdtrack.services.scan", "import peewee", "only the store"),
        ("msdtrack.services.scan", "from flask import request", "only the web layer"),
        ("msdtrack.services.scan", "from msdtrack.config import Settings", "not above config"),
        ("msdtrack.web.app", "from playhouse.shortcuts import model_to_dict", "only the store"),
        ("msdtrack.web.app", "from msdtrack.store.models import Part", "models never leave"),
        ("msdtrack.web.app", "from msdtrack.store import models", "models never leave"),
        ("msdtrack.web.app", "from msdtrack.alarms import lease", "web is not above alarms"),
        ("msdtrack.alarms.lease", "from msdtrack.web import app", "alarms is not above web"),
        ("msdtrack.web.app", "from msdtrack import cli", "web is not above cli"),
        ("msdtrack.bootstrap.start", "import click", "not installed yet"),
        ("msdtrack.helpers", "", "in no layer"),
    ],
)
def test_a_module_that_breaks_the_layers_is_found(module: str, source: str, said: str) -> None:
    """The test above can fail: each way of breaking the layers is seen."""
    found = findings(source, module)
    assert len(found) == 1
    assert said in found[0]


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("msdtrack.standard.levels", "import tomllib\nfrom msdtrack.errors import BadInput"),
        ("msdtrack.exposure.air", "from . import events\nfrom msdtrack.standard import levels"),
        ("msdtrack.exposure.air", "from datetime import datetime\nself.now.second"),
        ("msdtrack.store.queries", "import peewee\nfrom msdtrack.store.models import Part"),
        ("msdtrack.web.app", "from flask import Flask\nfrom msdtrack.services import scan"),
        ("msdtrack.cli", "from msdtrack import __version__, web"),
    ],
)
def test_a_module_that_keeps_to_its_layer_passes(module: str, source: str) -> None:
    """What the design allows is not refused."""
    assert findings(source, module) == []


def test_all_layers_are_there() -> None:
    """The layers drawn in the design are the folders on disk: none is checked in vain."""
    there = {name.split(".")[1] for name in MODULES if "." in name}
    assert there == ALLOWED.keys() - {"__init__"}


def test_no_module_is_a_drawer_for_everything() -> None:
    """A module is named for its one concept."""
    drawers = {"utils", "util", "helpers", "common", "misc"}
    assert [name for name in MODULES if name.split(".")[-1] in drawers] == []


def test_every_library_that_is_imported_is_declared() -> None:
    """Nothing works only because a test library happens to bring it."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    declared = project["dependencies"] + project["optional-dependencies"]["postgresql"]
    names = {_plain(re.match(r"[\w.-]+", line).group()) for line in declared}
    distributions = importlib.metadata.packages_distributions()
    undeclared = []
    for module, path in MODULES.items():
        tree = ast.parse(path.read_text("utf-8"))
        for found in imports(tree, module, path.stem == "__init__"):
            top = found.module.split(".")[0]
            if top in {*sys.stdlib_module_names, PACKAGE}:
                continue
            if names.isdisjoint(_plain(name) for name in distributions.get(top, [])):
                undeclared.append(f"{module}:{found.line} imports {top}")
    assert undeclared == []


def _plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()
