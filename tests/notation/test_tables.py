"""Parsers: found where they are, quick to come by, and never trusted blindly from the cache."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from biaspredict.errors import InputError
from biaspredict.notation import read_stage, tables
from biaspredict.notation.lines import cut
from biaspredict.notation.names import RESERVED
from biaspredict.notation.stops import stops_of
from biaspredict.notation.syntax import stage_statement
from biaspredict.notation.tables import Tables
from biaspredict.units import SPELLINGS

ROOT = Path(__file__).parents[2]
# Percentages are tolerances, and a sign of their own to the grammar.
PERCENT = {"%", "percent", "pct"}
MARKS = sorted({mark for s in SPELLINGS.values() for mark in (*s.exact, *s.folded)} - PERCENT)


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "biaspredict"


def fresh(name: str = "stage") -> Tables:
    """The tables as another start would come by them."""
    return tables.tables.__wrapped__(name)


def works(found: Tables) -> None:
    assert str(found.parser.parse("A -- R1 1K -- B", start="statement").data) == "path"
    assert found.stops == stops_of(found.parser)


def test_kept_tables_are_used(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    works(fresh())
    (kept,) = home.iterdir()
    assert kept.stat().st_mode & 0o777 == 0o600
    assert home.stat().st_mode & 0o777 == 0o700
    monkeypatch.setattr(tables, "_build", lambda name: pytest.fail("built anew"))
    works(fresh())


@pytest.mark.parametrize("spoilt", [b"", b"nonsense", b"\x80\x04N."])
def test_spoilt_tables_are_built_anew(home: Path, spoilt: bytes) -> None:
    works(fresh())
    (kept,) = home.iterdir()
    kept.write_bytes(spoilt)
    works(fresh())
    assert kept.stat().st_size > 1000


def test_tables_that_others_could_write_are_not_used(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fresh()
    (kept,) = home.iterdir()
    built = []
    real = tables._build
    monkeypatch.setattr(tables, "_build", lambda name: built.append(name) or real(name))
    kept.chmod(0o666)
    works(fresh())
    home.chmod(0o777)
    works(fresh())
    assert built == ["stage", "stage"]


def test_without_a_home_for_them_they_are_built(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    for home in (tmp_path / "file", Path("relative")):
        monkeypatch.setenv("XDG_CACHE_HOME", str(home))
        works(fresh())
    assert [entry.name for entry in tmp_path.iterdir()] == ["file"]


def test_grammars_are_found_beside_and_inside_the_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path / "biaspredict"
    monkeypatch.setattr(tables, "__file__", str(package / "notation" / "tables.py"))
    with pytest.raises(InputError, match="grammar of stages is missing"):
        tables.folder()
    (tmp_path / "grammar").mkdir()
    (tmp_path / "grammar" / "stage.lark").touch()
    assert tables.folder() == tmp_path / "grammar"
    (package / "_grammar").mkdir(parents=True)
    (package / "_grammar" / "stage.lark").touch()
    assert tables.folder() == package / "_grammar"


def test_lark_is_not_loaded_before_it_is_needed() -> None:
    code = "import sys, biaspredict.notation; print('lark' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "False"


@pytest.mark.parametrize("mark", MARKS)
def test_every_unit_may_stand_apart(mark: str) -> None:
    """Every spelling of a unit that values know is a unit to the grammar, with or without blank."""
    for text in (f"R1 5 {mark} carbon", f"R1 5{mark} carbon"):
        (line,), _ = cut(text, "x")
        first, second = stage_statement(line).items[0].clauses  # type: ignore[union-attr]
        assert [a.text.replace(" ", "") for a in first.amounts] == [f"5{mark}"]
        assert second.word == "carbon"


def test_three_hundred_parts_are_read_in_a_moment() -> None:
    """Far above what it takes, far below what would be noticed."""
    lines = [
        line
        for n in range(60)
        for line in (
            f"Q{n} npn silicon gain 80..300",
            f"B+ -- R{n}1 100K 5% -- Q{n}.base -- R{n}2 22K -- ground",
            f"B+ -- R{n}3 6K8 -- Q{n}.collector",
            f"Q{n}.emitter -- R{n}4 1.5K -- ground",
        )
    ]
    text = "\n".join(['stage "x"', "rail B+ 22 V", *lines])
    read_stage(text)
    start = time.process_time()
    assert len(read_stage(text).parts) == 300
    assert time.process_time() - start < 0.5


def test_words_of_the_grammar_are_reserved() -> None:
    """A node called like a keyword would be read as one where both may stand."""
    source = "".join(
        (tables.folder() / f"{n}.lark").read_text() for n in ("stage", "readings", "words")
    )
    listed = re.findall(r"^[A-Z_]+\.[23]: /\(\?:([a-z|-]+)", source, flags=re.M)
    single = re.findall(r"^[A-Z_]+\.[23]: /([a-z-]+)\(\?!", source, flags=re.M)
    words = {word for group in listed for word in group.split("|")} | set(single)
    assert {"rail", "fitted", "across", "stage"} <= words
    assert words <= RESERVED
