"""biaspredict: DC volts of a transistor stage, and the faults that explain what was read."""

from __future__ import annotations


def __getattr__(name: str) -> str:
    """Look the version up only when it is asked for: reading the metadata takes a while."""
    if name == "__version__":
        from importlib.metadata import version

        return version("biaspredict")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
