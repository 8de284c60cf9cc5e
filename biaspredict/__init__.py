"""biaspredict: DC volts of a transistor stage, and the faults that explain what was read.

The functions of `biaspredict.front` are here by name, loaded when one is first asked for:
read_stage, load_stage, write_stage, read_readings, load_readings, proof, bias, suspect, corners,
specimens, swap, lesson, what_if, draw, plot_response, plot_load_lines; and BiaspredictError.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from biaspredict.front import (
        BiaspredictError,
        bias,
        corners,
        draw,
        lesson,
        load_readings,
        load_stage,
        plot_load_lines,
        plot_response,
        proof,
        read_readings,
        read_stage,
        specimens,
        suspect,
        swap,
        what_if,
        write_stage,
    )

__all__ = [
    "BiaspredictError",
    "bias",
    "corners",
    "draw",
    "lesson",
    "load_readings",
    "load_stage",
    "plot_load_lines",
    "plot_response",
    "proof",
    "read_readings",
    "read_stage",
    "specimens",
    "suspect",
    "swap",
    "what_if",
    "write_stage",
]


def __getattr__(name: str) -> Any:
    """Load what is asked for only then: reading the metadata and the libraries takes a while."""
    if name == "__version__":
        from importlib.metadata import version

        return version("biaspredict")
    if name in __all__:
        from biaspredict import front

        return getattr(front, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
