"""The units a sheet uses, how it spells them, and the error for a value that cannot be read.

Spellings follow the trade's old sheets and IEC 60062 (letter in place of the decimal point; from
memory). Old sheets print MF, mF or MFD for microfarads and MMF, MMFD or uuF for picofarads, and set
whole drawings in capitals, so that MV, MA and MH are milli (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum


class Unit(Enum):
    """What a number counts."""

    OHM = "ohm"
    FARAD = "farad"
    HENRY = "henry"
    VOLT = "volt"
    AMPERE = "ampere"
    HERTZ = "hertz"
    CELSIUS = "celsius"
    SECOND = "second"
    WATT = "watt"
    RATIO = "ratio"


class ValueReadError(ValueError):
    """A value that cannot be read.

    `str(error)` says what is wrong and what was expected, in a reader's words. `near` is a spelling
    close to the one met that does read, to be offered as "did you mean", or None.
    """

    def __init__(self, message: str, near: str | None = None) -> None:
        super().__init__(message)
        self.near = near


@dataclass(frozen=True, slots=True)
class Step:
    """One rung of the ladder on which values are written: from `floor` up, counted in 10**power."""

    floor: Decimal
    power: int
    mark: str
    one: str
    many: str


@dataclass(frozen=True, slots=True)
class Spelling:
    """How one unit is read and written.

    `exact` and `folded` give the power of ten for each mark behind a number; `exact` is looked up
    first and minds capitals. `inside` are the letters that may stand for the decimal point.
    """

    noun: str
    examples: str
    exact: Mapping[str, int]
    folded: Mapping[str, int]
    ladder: tuple[Step, ...]
    home: str
    inside: str = ""
    leading: bool = False
    bare: bool = True
    signed: bool = False
    fractions: bool = False
    near: tuple[str, ...] = ()


def _words(**powers: str) -> dict[str, int]:
    """Turn `p3="k kohm"`, `m6="u uf"`, `p0=...` into a table of marks."""
    return {
        word: int(key[1:]) * (1 if key[0] == "p" else -1)
        for key, words in powers.items()
        for word in words.split()
    }


def _ladder(*rows: tuple[str, int, str, str, str]) -> tuple[Step, ...]:
    return tuple(
        Step(Decimal(floor), power, mark, one, many) for floor, power, mark, one, many in rows
    )


SPELLINGS: Mapping[Unit, Spelling] = {
    Unit.OHM: Spelling(
        "resistance",
        "470, 4R7, 6K8, 2.2M or 10 ohms",
        exact=_words(p6="M Mohm Mohms MOhm MOhms MOHM MOHMS", m3="mohm mohms mOhm mOhms"),
        folded=_words(
            p0="r ohm ohms",
            p3="k kohm kohms kilohm kilohms kiloohm kiloohms",
            p6="meg megs mega megohm megohms megaohm megaohms",
            p9="g gohm gohms gigohm gigohms",
            m3="milliohm milliohms",
        ),
        ladder=_ladder(
            ("1e6", 6, "M", "megohm", "megohms"),
            ("1e3", 3, "K", "kilohm", "kilohms"),
            ("0", 0, "", "ohm", "ohms"),
        ),
        home="",
        inside="RrKkMGg",
        leading=True,
        near=("ohm", "ohms", "kohm", "K", "MEG", "megohm"),
    ),
    Unit.FARAD: Spelling(
        "capacitance",
        "5 MFD, 0.1 uF, 4n7, 100 pF or 100 MMF",
        exact={},
        folded=_words(
            p0="f farad farads",
            m3="millifarad millifarads",
            m6="u uf ufd ufds mf mfd mfds microfarad microfarads",
            m9="n nf nfd kpf nanofarad nanofarads",
            m12="p pf pfd uu uuf uufd mmf mmfd mmfds picofarad picofarads "
            "micromicrofarad micromicrofarads",
        ),
        ladder=_ladder(
            ("1", 0, " F", "farad", "farads"),
            ("1e-7", -6, " uF", "microfarad", "microfarads"),
            ("1e-9", -9, " nF", "nanofarad", "nanofarads"),
            ("0", -12, " pF", "picofarad", "picofarads"),
        ),
        home=" uF",
        inside="pPnNuU",
        leading=True,
        bare=False,
        near=("MFD", "uF", "nF", "pF", "MMFD", "MMF"),
    ),
    Unit.HENRY: Spelling(
        "inductance",
        "10 H, 4.7 mH or 33 uH",
        exact={"m": -3},
        folded=_words(
            p0="h hy henry henrys henries",
            m3="mh mhy millihenry millihenrys millihenries",
            m6="u uh uhy microhenry microhenrys microhenries",
            m9="n nh",
        ),
        ladder=_ladder(
            ("1", 0, " H", "henry", "henries"),
            ("1e-3", -3, " mH", "millihenry", "millihenries"),
            ("0", -6, " uH", "microhenry", "microhenries"),
        ),
        home=" H",
        inside="Hhmu",
        leading=True,
        bare=False,
        near=("H", "mH", "uH", "henries"),
    ),
    Unit.VOLT: Spelling(
        "voltage",
        "22 V, 6V, 0.32, 310 mV or 15 WV",
        exact={"m": -3},
        folded=_words(
            p0="v volt volts vdc dcv wv wvdc dcwv vdcw voltsdc",
            p3="kv kilovolt kilovolts",
            m3="mv mvdc millivolt millivolts",
            m6="uv microvolt microvolts",
        ),
        ladder=_ladder(
            ("1", 0, " V", "volt", "volts"),
            ("1e-3", -3, " mV", "millivolt", "millivolts"),
            ("0", -6, " uV", "microvolt", "microvolts"),
        ),
        home=" V",
        inside="Vv",
        signed=True,
        near=("V", "mV", "WV", "VDC", "volts"),
    ),
    Unit.AMPERE: Spelling(
        "current",
        "5 uA, 1.2 mA or 0.5 A",
        exact={"m": -3},
        folded=_words(
            p0="a amp amps ampere amperes adc",
            m3="ma mamp mamps madc milliamp milliamps milliampere milliamperes",
            m6="u ua uamp uamps microamp microamps microampere microamperes",
            m9="n na nanoamp nanoamps nanoampere nanoamperes",
            m12="p pa picoamp picoamps picoampere picoamperes",
        ),
        ladder=_ladder(
            ("1", 0, " A", "ampere", "amperes"),
            ("1e-3", -3, " mA", "milliampere", "milliamperes"),
            ("1e-6", -6, " uA", "microampere", "microamperes"),
            ("1e-9", -9, " nA", "nanoampere", "nanoamperes"),
            ("0", -12, " pA", "picoampere", "picoamperes"),
        ),
        home=" A",
        signed=True,
        near=("A", "mA", "uA", "amps"),
    ),
    Unit.HERTZ: Spelling(
        "frequency",
        "50 Hz, 1 kHz or 455 kc",
        exact=_words(p6="M MHz MHZ Mhz Mc MC Mc/s MC/S"),
        folded=_words(
            p0="hz hertz c/s cps cycles cycle",
            p3="k khz kilohertz kc kc/s kcs kcps",
            p6="megahertz",
        ),
        ladder=_ladder(
            ("1e6", 6, " MHz", "megahertz", "megahertz"),
            ("1e3", 3, " kHz", "kilohertz", "kilohertz"),
            ("0", 0, " Hz", "hertz", "hertz"),
        ),
        home=" Hz",
        inside="KkM",
        near=("Hz", "kHz", "MHz", "cps"),
    ),
    Unit.CELSIUS: Spelling(
        "temperature in degrees Celsius",
        "25 C or -5 C",
        exact={},
        folded=_words(p0="c degc celsius degcelsius deg degree degrees degreescelsius degreesc"),
        ladder=_ladder(("0", 0, " C", "degree Celsius", "degrees Celsius")),
        home=" C",
        signed=True,
        near=("C", "celsius", "degrees"),
    ),
    Unit.SECOND: Spelling(
        "time",
        "2 s, 50 ms or 75 us",
        exact={},
        folded=_words(
            p0="s sec secs second seconds",
            m3="ms msec msecs millisecond milliseconds",
            m6="us usec usecs microsecond microseconds",
            m9="ns nsec nanosecond nanoseconds",
        ),
        ladder=_ladder(
            ("1", 0, " s", "second", "seconds"),
            ("1e-3", -3, " ms", "millisecond", "milliseconds"),
            ("1e-6", -6, " us", "microsecond", "microseconds"),
            ("0", -9, " ns", "nanosecond", "nanoseconds"),
        ),
        home=" s",
        near=("s", "ms", "us", "sec"),
    ),
    Unit.WATT: Spelling(
        "power",
        "1/2 W, 0.25 W or 100 mW",
        exact={},
        folded=_words(
            p0="w watt watts",
            m3="mw milliwatt milliwatts",
            m6="uw microwatt microwatts",
        ),
        ladder=_ladder(
            ("0.1", 0, " W", "watt", "watts"),
            ("1e-3", -3, " mW", "milliwatt", "milliwatts"),
            ("0", -6, " uW", "microwatt", "microwatts"),
        ),
        home=" W",
        inside="Ww",
        fractions=True,
        near=("W", "mW", "watt"),
    ),
    Unit.RATIO: Spelling(
        "plain number",
        "80, 0.5 or 5%",
        exact={"%": -2},
        folded=_words(p0="x times", m2="percent pct"),
        ladder=_ladder(("0", 0, "", "", "")),
        home="",
        signed=True,
        near=("%", "times"),
    ),
}
