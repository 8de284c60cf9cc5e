"""The wheel, the source archive and the editable install all carry the grammar with them.

The builds work on a copy of the project, so they leave nothing in it, and ask no network: the
build backend is called directly. The one test that installs as a person would is marked slow.
"""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
import tarfile
import tomllib
import venv
import zipfile
from pathlib import Path

import pytest

PROJECT = Path(__file__).parents[2]

needs_backend = pytest.mark.skipif(
    importlib.util.find_spec("hatchling") is None,
    reason="hatchling is not installed here; tests/run.sh installs it",
)

STAGE = """stage "one transistor"
rail B+ 12 V
Q1 npn silicon gain 100..300
B+ -- R1 100K -- Q1.base -- R2 22K -- ground
B+ -- R3 4K7 -- Q1.collector
Q1.emitter -- R4 1K -- ground
"""

# Runs `biaspredict proof FILE` with the given folders searched first; the package must come from
# the last of them, not from whatever is installed where the tests run.
PROOF = """
import sys
file, *folders = sys.argv[1:]
sys.path[:0] = folders
import biaspredict
assert biaspredict.__file__.startswith(folders[-1]), biaspredict.__file__
sys.argv = ["biaspredict", "proof", file]
from biaspredict.cli import main
sys.exit(main())
"""


def copy_of_project(target: Path) -> Path:
    target.mkdir()
    for name in ("pyproject.toml", "LICENSE", "README.md", ".gitignore"):
        if (PROJECT / name).exists():
            shutil.copy(PROJECT / name, target)
    for name in ("biaspredict", "grammar", "demo"):
        shutil.copytree(
            PROJECT / name, target / name, ignore=shutil.ignore_patterns("__pycache__")
        )
    return target


def build(kind: str, source: Path, out: Path) -> Path:
    """Build a `wheel`, an `sdist` or the wheel of an `editable` install; returns the file."""
    out.mkdir(exist_ok=True)
    code = f"import sys, hatchling.build as b; print(b.build_{kind}(sys.argv[1]))"
    done = subprocess.run(
        [sys.executable, "-c", code, str(out)],
        cwd=source,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return out / done.stdout.splitlines()[-1]


def unpack(archive: Path, target: Path) -> Path:
    """Unpack a wheel or a source archive; for pure Python the first is all that installing is."""
    if archive.suffix == ".whl":
        with zipfile.ZipFile(archive) as wheel:
            wheel.extractall(target)
        return target
    with tarfile.open(archive) as sdist:
        # Pythons up to 3.11.3 have no filters; the archive is the project's own
        safe = {"filter": "data"} if hasattr(tarfile, "data_filter") else {}
        sdist.extractall(target, **safe)
    (inner,) = target.iterdir()
    return inner


def contents(folder: Path) -> dict[str, bytes]:
    files = (path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


def proof(elsewhere: Path, *folders: Path) -> subprocess.CompletedProcess[str]:
    """Proof a sound stage with the package in the last folder, away from any grammar."""
    elsewhere.mkdir()
    stage = elsewhere / "one.stage"
    stage.write_text(STAGE)
    return subprocess.run(
        [sys.executable, "-I", "-B", "-c", PROOF, str(stage), *map(str, folders)],
        cwd=elsewhere,
        capture_output=True,
        text=True,
        check=False,
    )


def check_proofed(done: subprocess.CompletedProcess[str]) -> None:
    # Python's own exit code for a crash is 1 as well, hence the look at what was said.
    assert (done.returncode in (0, 1), done.stderr) == (True, "")
    assert done.stdout.strip()


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return copy_of_project(tmp_path_factory.mktemp("source") / "biaspredict")


@pytest.fixture(scope="module")
def sdist(source: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build("sdist", source, tmp_path_factory.mktemp("sdist"))


@needs_backend
def test_wheel_finds_its_grammar(source: Path, tmp_path: Path) -> None:
    installed = unpack(build("wheel", source, tmp_path / "out"), tmp_path / "site")
    assert contents(installed / "biaspredict" / "_grammar") == contents(PROJECT / "grammar")
    check_proofed(proof(tmp_path / "elsewhere", installed))


@needs_backend
def test_wheel_without_its_grammar_says_so(source: Path, tmp_path: Path) -> None:
    installed = unpack(build("wheel", source, tmp_path / "out"), tmp_path / "site")
    shutil.rmtree(installed / "biaspredict" / "_grammar")
    done = proof(tmp_path / "elsewhere", installed)
    assert done.returncode == 2, done.stdout
    assert "Traceback" not in done.stderr


@needs_backend
def test_wheel_built_from_the_sdist_is_the_same(
    source: Path, sdist: Path, tmp_path: Path
) -> None:
    direct = unpack(build("wheel", source, tmp_path / "direct"), tmp_path / "a")
    unpacked = unpack(sdist, tmp_path / "unpacked")
    assert contents(unpacked / "grammar") == contents(PROJECT / "grammar")
    by_sdist = unpack(build("wheel", unpacked, tmp_path / "by-sdist"), tmp_path / "b")
    assert contents(by_sdist) == contents(direct)


@needs_backend
def test_editable_install_finds_the_sibling_folder(source: Path, tmp_path: Path) -> None:
    installed = unpack(build("editable", source, tmp_path / "out"), tmp_path / "site")
    (link,) = installed.glob("*.pth")
    assert Path(link.read_text().strip()) == source
    check_proofed(proof(tmp_path / "elsewhere", installed, source))


@needs_backend
def test_wheel_holds_the_package_its_licence_and_nothing_else(
    source: Path, tmp_path: Path
) -> None:
    installed = unpack(build("wheel", source, tmp_path / "out"), tmp_path / "site")
    version = tomllib.loads((PROJECT / "pyproject.toml").read_text())["project"]["version"]
    expected = {"biaspredict", f"biaspredict-{version}.dist-info"}
    assert {path.name for path in installed.iterdir()} == expected
    package = contents(source / "biaspredict")
    grammar = {f"_grammar/{name}": text for name, text in contents(PROJECT / "grammar").items()}
    assert contents(installed / "biaspredict") == package | grammar
    (licence,) = installed.rglob("LICENSE")
    assert licence.read_bytes() == (PROJECT / "LICENSE").read_bytes()


@needs_backend
@pytest.mark.slow
def test_sdist_installs_into_a_fresh_environment(sdist: Path, tmp_path: Path) -> None:
    """Needs the network: pip fetches the build backend and every dependency."""
    home = tmp_path / "env"
    venv.create(home, with_pip=True)
    command = [str(home / "bin" / "python"), "-m", "pip", "install", "--quiet", str(sdist)]
    subprocess.run(command, check=True, cwd=tmp_path)
    stage = tmp_path / "one.stage"
    stage.write_text(STAGE)
    check_proofed(
        subprocess.run(
            [home / "bin" / "biaspredict", "proof", stage],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=False,
        )
    )
