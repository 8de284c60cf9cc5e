"""The house: imports run one way, every library has its home, no file grows past its subject."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "biaspredict"
MODULES = sorted(PACKAGE.rglob("*.py"))
LONGEST = 400

# Each layer may import what stands after it; those on one line do not know each other.
LAYERS: tuple[tuple[str, ...], ...] = (
    ("__main__",),
    ("cli",),
    ("commands",),
    ("bench", "front"),
    ("worksheets",),
    ("benchwork", "classroom", "replacing"),
    ("pipeline",),
    ("report",),
    ("infer",),
    ("predict",),
    ("engine", "graph", "notation"),
    ("model",),
    ("workers",),
    ("said", "saving", "underway"),
    ("errors", "findings"),
    ("span", "quantities", "series", "tolerance", "numerals", "units"),
)
LEVEL = {name: level for level, names in enumerate(LAYERS) for name in names}
# The bottom layer is one subject in several files; their own order is checked for cycles only.
BOTTOM = len(LAYERS) - 1

HOMES = {
    "lark": ("notation",),
    "networkx": ("graph",),
    "PySpice": ("engine/ngspice.py", "engine/library.py", "engine/simulator.py"),
    "cairosvg": ("report/drawing/pictures.py",),
    "matplotlib": ("report",),
    "weasyprint": ("report/sheet/files.py",),
}


def _name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


NAMES = {_name(path) for path in MODULES}


def _imports(path: Path) -> Iterator[str]:
    """Modules imported; of `from package import name` the module that `name` is, if it is one."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                yield whole if whole in NAMES else node.module


def _unit(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def test_the_layers_cover_the_package() -> None:
    units = {_unit(path) for path in MODULES} - {"__init__"}
    assert units == set(LEVEL)


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_imports_run_one_way(path: Path) -> None:
    here = _unit(path)
    if here == "__init__":
        return
    for module in _imports(path):
        parts = module.split(".")
        if parts[0] != "biaspredict":
            continue
        assert len(parts) > 1, f"{_name(path)} imports the package's own front"
        there = parts[1]
        if there == here or there not in LEVEL:
            continue
        level = LEVEL[here]
        assert LEVEL[there] > level or level == BOTTOM == LEVEL[there], f"{here} imports {there}"


def test_modules_form_no_cycle() -> None:
    """Imports inside functions count too: laziness is for start-up, not for hiding a knot."""
    edges = {_name(p): {m for m in _imports(p) if m in NAMES} for p in MODULES}
    state: dict[str, int] = {}

    def visit(name: str, trail: tuple[str, ...]) -> None:
        if state.get(name) == 2:
            return
        assert state.get(name) != 1, " -> ".join((*trail, name))
        state[name] = 1
        for other in sorted(edges[name] - {name}):
            visit(other, (*trail, name))
        state[name] = 2

    for name in sorted(NAMES):
        visit(name, ())


@pytest.mark.parametrize("library", sorted(HOMES))
def test_each_library_has_its_home(library: str) -> None:
    users = {
        path.relative_to(PACKAGE).as_posix()
        for path in MODULES
        if any(module.split(".")[0] == library for module in _imports(path))
    }
    assert all(any(user.startswith(home) for home in HOMES[library]) for user in users), users


@pytest.mark.parametrize(
    "path", [*MODULES, *sorted((ROOT / "tests").rglob("*.py"))],
    ids=lambda p: p.relative_to(ROOT).as_posix(),
)
def test_no_file_outgrows_its_subject(path: Path) -> None:
    assert len(path.read_text("utf-8").splitlines()) <= LONGEST


def test_help_loads_nothing_heavy() -> None:
    """Help and errors start in a blink because the libraries wait for their work."""
    code = (
        "import sys; sys.argv = ['biaspredict', '--help']\n"
        "from biaspredict.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'lark', 'networkx', 'PySpice', 'matplotlib'}\n"
        "sys.stderr.write(','.join(sorted(heavy & set(sys.modules))))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert done.stderr == ""
    assert "suspect" in done.stdout


def test_bias_loads_nothing_of_the_inference() -> None:
    """Its page needs none of it; only its record does."""
    code = (
        "import sys; sys.argv = ['biaspredict', 'bias', 'demo/preamp.stage']\n"
        "from biaspredict.cli import main\n"
        "main()\n"
        "sys.stderr.write(','.join(m for m in sys.modules if m.startswith('biaspredict.infer')))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert done.stderr == ""
    assert "Q1.base" in done.stdout
