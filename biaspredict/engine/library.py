"""Where the shared library of ngspice is, what to install where it is not, and how to open it
so that nobody's settings reach it and it leaves none behind.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import locale
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path

from biaspredict.errors import EngineMissing

VARIABLE = "NGSPICE_LIBRARY_PATH"  # names the library outright; PySpice's own variable


def find_library() -> str:
    """Name or path of the first library that loads; EngineMissing when none does."""
    told = os.environ.get(VARIABLE)
    if told:
        if _loads(told):
            return told
        raise EngineMissing(
            f"{VARIABLE} names {told}, which is not a library that loads here.",
            remedy=f"Correct or clear {VARIABLE}, or {remedy(lower=True)}",
        )
    for name in candidates():
        if _loads(name):
            return name
    raise EngineMissing("The circuit simulator ngspice was not found.", remedy=remedy())


def candidates(platform: str = sys.platform) -> Iterator[str]:
    """Names worth trying, likeliest first."""
    prefix = Path(sys.prefix)
    if platform == "darwin":
        yield str(prefix / "lib" / "libngspice.dylib")
        yield "/opt/homebrew/lib/libngspice.dylib"
        yield "/usr/local/lib/libngspice.dylib"
        yield "/opt/local/lib/libngspice.dylib"
        yield "libngspice.dylib"
    elif platform == "win32":
        # The place into which PySpice's own post-installation step puts it.
        found = find_spec("PySpice")
        for folder in (found.submodule_search_locations or ()) if found else ():
            spot = Path(folder) / "Spice" / "NgSpice" / "Spice64_dll" / "dll-vs"
            yield str(spot / "ngspice.dll")
        yield str(prefix / "Library" / "bin" / "ngspice.dll")
        yield "ngspice.dll"
    else:
        yield "libngspice.so.0"
        yield "libngspice.so"
        yield str(prefix / "lib" / "libngspice.so")
    general = ctypes.util.find_library("ngspice")
    if general:
        yield general


def remedy(platform: str = sys.platform, *, lower: bool = False) -> str:
    """One line that says what to install."""
    if platform == "darwin":
        line = "Install it with: brew install libngspice"
    elif platform == "win32":
        line = "Install it with: pyspice-post-installation --install-ngspice-dll"
    else:
        line = (
            "Install the package libngspice0 (Debian, Ubuntu: sudo apt install libngspice0) "
            "or your system's ngspice library."
        )
    return line[0].lower() + line[1:] if lower else line


def _loads(name: str) -> bool:
    try:
        library = ctypes.CDLL(name)
    except (OSError, ValueError):  # ValueError: a null character in the name
        return False
    return hasattr(library, "ngSpice_Command")


@contextmanager
def undisturbed() -> Iterator[None]:
    """A start of ngspice that reads nobody's settings.

    It executes `.spiceinit` of the working folder, else that of the home folder: it is shown an
    empty one. The system's `spinit` only loads models that are not used here.
    """
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, ".spiceinit").write_text("* nothing\n", encoding="ascii")
        places = ("SPICE_SCRIPTS", "SPICE_LIB_DIR", "SPICE_USERINIT_DIR")
        before = {name: os.environ.get(name) for name in places}
        try:
            here = os.getcwd()
        except OSError:  # the working folder is gone
            here = os.path.dirname(folder)
        os.environ.update(dict.fromkeys(places, folder))
        os.chdir(folder)
        try:
            yield
        finally:
            os.chdir(here)
            for name, value in before.items():
                if value is None:
                    del os.environ[name]
                else:
                    os.environ[name] = value


@contextmanager
def plain_numbers() -> Iterator[None]:
    """The decimal point of the C locale while ngspice works, the caller's afterwards."""
    before = locale.setlocale(locale.LC_NUMERIC)
    if before != "C":
        locale.setlocale(locale.LC_NUMERIC, "C")
    try:
        yield
    finally:
        if before != "C":
            locale.setlocale(locale.LC_NUMERIC, before)
