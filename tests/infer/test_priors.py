"""The table of priors: complete, sourced, and strict with a user's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from biaspredict.errors import InputError, Mistakes
from biaspredict.infer.faults import catalogue
from biaspredict.infer.priors import load_priors, read_priors, standard_priors

from .stages import DIVIDER, stage

ROW = "carbon | open | 0.8 | - | - | - | trade"


def test_every_row_names_its_source() -> None:
    for row in standard_priors().rows:
        assert row.source.split()[0].rstrip(":;") in ("trade", "338B", "217F"), row


def test_an_open_electrolytic_is_rarer_than_a_leaky_or_dry_one() -> None:
    """An old electrolytic dries out or leaks more often than it shorts (common practice,
    no source)."""
    chance = {row.mode: row.chance for row in standard_priors().of("electrolytic")}
    assert chance["leak"] + chance["dry"] > 5 * chance["short"]


def test_age_scales_the_chances() -> None:
    table = standard_priors()
    young = table.aged(10.0)
    assert young.rows[0].chance == pytest.approx(table.rows[0].chance / 5)


def test_a_row_left_out_is_a_fault_not_thought_of() -> None:
    of = stage(DIVIDER)
    table = read_priors(ROW, "mine.txt")
    assert {f.mode for f in catalogue(of, table)} == {"open"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("carbon | open | 0.8 | - | - | -", "6 columns where 7"),
        ("carbon | open | lots | - | - | - | trade", "lots"),
        ("carbon | open | 120 | - | - | - | trade", "not a percentage"),
        ("carbon | drift up | 1 | 3 | 2 | times | trade", "least must be below most"),
        ("carbon | drift up | 1 | 3 | - | times | trade", "least must be below most"),
        ("carbon | leak | 1 | 0 | 5K | ohm | trade", "above zero"),
        (f"{ROW}\n{ROW}", "stands twice"),
        ("", "has no rows"),
    ],
)
def test_a_bad_table_is_refused_with_its_reason(text: str, said: str) -> None:
    with pytest.raises(Mistakes) as caught:
        read_priors(text, "mine.txt")
    assert said in str(caught.value)
    assert "mine.txt" in str(caught.value)


def test_a_missing_table_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot read the table of priors"):
        load_priors(tmp_path / "none.txt")
