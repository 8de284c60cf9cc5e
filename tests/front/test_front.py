"""The package's public functions: documented, each with an example that runs, loaded late."""

from __future__ import annotations

import doctest
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import biaspredict
from biaspredict import front
from biaspredict.cli import main
from tests.circuits.files import DEMO, ROOT, load


def test_every_example_runs() -> None:
    pytest.importorskip("matplotlib")
    failed, tried = doctest.testmod(front, optionflags=doctest.ELLIPSIS)
    assert tried > 30
    assert failed == 0


@pytest.mark.parametrize("name", [n for n in front.__all__ if n != "BiaspredictError"])
def test_every_function_is_documented_with_an_example(name: str) -> None:
    function = getattr(biaspredict, name)
    assert function is getattr(front, name)
    text = inspect.getdoc(function)
    assert text
    assert ">>>" in text
    assert inspect.signature(function).return_annotation is not inspect.Signature.empty


def test_the_names_are_those_of_the_front() -> None:
    assert biaspredict.__all__ == front.__all__
    assert set(front.__all__) <= set(dir(biaspredict))
    for name in front.__all__:
        assert name in (biaspredict.__doc__ or "")
    with pytest.raises(AttributeError):
        _ = biaspredict.no_such_name


def test_the_version_is_that_of_the_distribution() -> None:
    from importlib.metadata import PackageNotFoundError, version

    try:
        expected = version("biaspredict")
    except PackageNotFoundError:
        pytest.skip("biaspredict is run from its folder, not installed")
    assert biaspredict.__version__ == expected


def test_importing_the_package_loads_nothing() -> None:
    code = (
        "import sys, biaspredict\n"
        "heavy = {'numpy', 'lark', 'networkx', 'PySpice', 'matplotlib', 'biaspredict.front'}\n"
        "assert not heavy & set(sys.modules), heavy & set(sys.modules)\n"
        "biaspredict.read_stage\n"
        "assert not {'numpy', 'PySpice', 'matplotlib'} & set(sys.modules)\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)


def test_the_front_gives_what_the_commands_print(capsys: pytest.CaptureFixture[str]) -> None:
    stage = biaspredict.load_stage(DEMO[0])
    assert stage == load(DEMO[0])
    readings = biaspredict.load_readings(DEMO[0].with_suffix(".readings"), stage)
    verdict = biaspredict.suspect(stage, readings)
    main(["suspect", str(DEMO[0]), str(DEMO[0].with_suffix(".readings"))])
    page = capsys.readouterr().out
    best = verdict.ranking.suspects[0]
    assert f"{best.weight * 100:.0f} %  {best.words}" in page


def test_what_is_wrong_is_an_error_of_the_package(tmp_path: Path) -> None:
    with pytest.raises(biaspredict.BiaspredictError):
        biaspredict.read_stage("nonsense")
    loose = biaspredict.read_stage(
        'stage "no feed"\nQ1 npn\nA -- R1 1K -- Q1.collector\n'
        "Q1.emitter -- R2 1K -- X\nX -- R3 1K -- Q1.base\n")
    for use in (biaspredict.bias, biaspredict.lesson):
        with pytest.raises(biaspredict.BiaspredictError) as told:
            use(loose)
        assert str(told.value)
    with pytest.raises(biaspredict.BiaspredictError) as told:
        biaspredict.what_if(biaspredict.load_stage(DEMO[0]), "R7 opns")
    assert "Did you mean R7 open?" in told.value.remedy
    with pytest.raises(biaspredict.BiaspredictError):
        biaspredict.load_stage(tmp_path)
