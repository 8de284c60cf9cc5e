"""What is written reads back as the same records: stages and readings of every kind."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from biaspredict.model.stage import Stage
from biaspredict.notation import load_stage, read_readings, read_stage, write_readings, write_stage
from tests.notation.strategies import stages
from tests.notation.strategies_readings import readings

ROOT = Path(__file__).parents[2]
SLOW_DRAWS = (HealthCheck.too_slow, HealthCheck.data_too_large)


def compare(before: object, after: object, text: str) -> None:
    """Equal, field by field, so that a failure shows which."""
    for field in fields(before):  # type: ignore[arg-type]
        if field.compare:
            assert getattr(after, field.name) == getattr(before, field.name), text
    assert after == before


@settings(max_examples=80, deadline=None, suppress_health_check=SLOW_DRAWS)
@given(stages())
def test_any_stage(stage: Stage) -> None:
    text = write_stage(stage)
    compare(stage, read_stage(text, "again"), text)


@settings(max_examples=60, deadline=None, suppress_health_check=SLOW_DRAWS)
@given(st.data())
def test_any_readings(data: st.DataObject) -> None:
    stage = data.draw(stages())
    book = data.draw(readings(stage))
    text = write_readings(book)
    compare(book, read_readings(text, "again", stage), text)


@pytest.mark.slow
@settings(max_examples=2000, deadline=None, suppress_health_check=SLOW_DRAWS)
@given(st.data())
def test_very_many_stages_and_readings(data: st.DataObject) -> None:
    stage = data.draw(stages())
    compare(stage, read_stage(write_stage(stage), "again"), "")
    book = data.draw(readings(stage))
    compare(book, read_readings(write_readings(book), "again", stage), "")


@pytest.mark.parametrize(
    "path", sorted((ROOT / "circuits").rglob("*.stage")), ids=lambda path: path.stem
)
def test_the_stages_of_the_project(path: Path) -> None:
    stage = load_stage(path)
    text = write_stage(stage)
    compare(stage, read_stage(text, "again"), text)
    assert write_stage(read_stage(text, "again")) == text
