"""What the mutation run puts into the code is what it says, and nothing else."""

from __future__ import annotations

from tests.mutation.mutants import mutants

SOURCE = '''"""Words."""
LIMIT: int = 3

def f(a: float, b: float) -> float:
    """More words, 7."""
    if a < b and not b == 2.0:
        print(a)
        return a - b * -LIMIT
    return True
'''


def test_every_kind_of_wrong() -> None:
    found = [(m.line, m.words) for m in mutants(SOURCE)]
    assert found == [
        (2, "3: one more"),
        (6, "if a < b and (not b == 2.0):: turned round"),
        (6, "a < b and (not b == 2.0): and for or"),
        (6, "a < b: Lt turned"),
        (6, "not b == 2.0: sign or not left out"),
        (6, "b == 2.0: Eq turned"),
        (6, "2.0: one more"),
        (6, "2.0: ten times"),
        (7, "print(a): left out"),
        (8, "a - b * -LIMIT: Sub for another"),
        (8, "b * -LIMIT: Mult for another"),
        (8, "-LIMIT: sign or not left out"),
        (9, "True: turned"),
    ]


def test_each_is_a_module_of_its_own_that_differs_in_one_place() -> None:
    import ast

    plain = ast.unparse(ast.parse(SOURCE)).splitlines()
    for mutant in mutants(SOURCE):
        lines = mutant.source.splitlines()
        compile(mutant.source, "mutant", "exec")
        assert len(lines) == len(plain)
        assert sum(a != b for a, b in zip(lines, plain, strict=True)) == 1, mutant.words
