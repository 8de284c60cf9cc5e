"""The slips of the pen that are known, each with what is said and what provokes it.

The table both produces the messages and is what tests loop over.
"""

from __future__ import annotations

from dataclasses import dataclass

STATEMENT, FIGURES = "statement", "figures"


@dataclass(frozen=True, slots=True)
class Slip:
    """A message ({found} is what stands at the place) and what provokes it.

    examples: texts of `start` in the grammar of a stage or of readings.
    """

    fact: str
    remedy: str
    stage: tuple[str, ...] = ()
    figures: tuple[str, ...] = ()
    readings: tuple[str, ...] = ()


SLIPS: tuple[Slip, ...] = (
    Slip(
        "the name of the stage stands in quotes",
        'Write it like stage "line amplifier".',
        stage=("stage line amplifier", "stage", "stage 7"),
    ),
    Slip(
        "one name in quotes is enough, and nothing stands behind it",
        "Put what else there is to say in a note, or behind #.",
        stage=('stage "line" amplifier', 'note "R7" hard'),
    ),
    Slip(
        "a setting says which trimmer, for how many volts, and where these are read",
        "Write it like set RV1 for 10 mV across R20, or set RV1 for 13.5 V at Q4.collector.",
        stage=("set", "set RV1", "set RV1 10 mV", "set RV1 for", "set RV1 for 10 mV",
               "set RV1 for R20", "set RV1 for 10 mV across", "set RV1 for 10 mV at"),
    ),
    Slip(
        "the wire leads nowhere",
        "Behind -- stands a node or a part: -- ground, or -- R4 1.5K -- ground.",
        stage=("B+ --", "B+ -- R1 100K --", "B+ -- -- ground"),
    ),
    Slip(
        "{found} stands where a node or a part is expected",
        "A path is written like B+ -- R3 6K8 -- Q1.collector: the reference before its value.",
        stage=("B+ -- 100K -- ground", "B+ -- 5% -- ground", "100K R1", "B+ -- = R1", "+ 5"),
    ),
    Slip(
        "a path begins at a node",
        "Write the node in front of the wire, like B+ -- R3 6K8 -- Q1.collector.",
        stage=("-- R1 100K -- ground",),
    ),
    Slip(
        "the arrow stands behind a diode, D1>, or before it, <D1",
        "It points from anode to cathode.",
        stage=("A -- >D1 -- B", ">D1 -- B", "A -- D1< -- B"),
    ),
    Slip(
        "behind = stands another name of a node, not {found}",
        "A name is given like yellow = Q1.base; a value stands behind its part: R1 100K.",
        stage=("R1 = 100K", "yellow =", "yellow = = Q1.base", "yellow = 5%"),
    ),
    Slip(
        "one name and one node: {found} is too much",
        "Give each name on a line of its own: yellow = Q1.base.",
        stage=(
            "yellow = Q1.base Q1.emitter",
            "yellow = Q1.base, green = Q2.base",
            "a = b = c",
            "yellow = Q1.base -- R1 100K",
            "yellow = Q1.base 3.1",
        ),
    ),
    Slip(
        "= gives a node another name, and nothing else stands in its line",
        "Write yellow = Q1.base, and a value without =: R1 100K.",
        stage=(
            "R1 100K = R2",
            "A -- B = C",
            "rail B+ = 22 V",
            "rail B+ 22 V = x",
            "chart volts = 20%",
            "assume resistors = 10%",
        ),
    ),
    Slip(
        "the name comes first, then the figures",
        "Write it like rail B+ 22 V, input IN from 600 or pin U1.5 holds 3.2 V.",
        stage=("rail 22 V", "rail", "input from 600 =", "rail 5% B+", "rail -- B+", "pin, 5"),
    ),
    Slip(
        "the second limit is missing",
        "Write both, like gain 80..300.",
        stage=("Q1 npn gain 80..", "Q1 npn gain 80.. silicon", "Q1 npn gain 80 to -- x"),
    ),
    Slip(
        "a comma has no business here",
        "Blanks part what is said of a part. A decimal comma stands directly between two digits.",
        stage=(
            "R7 100K, 5%",
            "R7, 100K",
            "B+, Q1.base",
            "rail B+ 22 V, 5%",
            "rail B+, 22 V",
            "chart volts, 20%",
            ", R1",
            "B+ -- , R1",
            "chart volts 20%, 5%",
            "D1>, small",
        ),
    ),
    Slip(
        "the wire -- belongs to paths only",
        "Begin a path on a line of its own.",
        stage=(
            "rail B+ 22 V -- R1 100K",
            "rail B+ -- R1",
            "chart volts -- x",
            "assume resistors 10% -- x",
            "assume -- x",
            "chart -- x",
            "assume x 1%, -- y",
        ),
        figures=("Q1.base -- 3.1", "Q1.base 3.1 -- x", "-- Q1.base"),
    ),
    Slip(
        "the other channel is told by pairs or by an offset",
        "Write other channel R101 = R201, Q1 = Q2 or other channel offset 100.",
        stage=(
            "other channel",
            "other channel R101",
            "other channel R101 R201",
            "other channel 100",
            "other channel R101 = R201 Q1 = Q2",
            "other channel R101 = 5",
            "other channel R1 =",
            "other channel R1 = R2, 5",
            "other channel offset 100, R1 = R2",
            "other channel R1 = R2,",
            "other channel R1, R2",
            "other channel, R1 = R2",
        ),
    ),
    Slip(
        "{found} stands where the name of a node is expected",
        "A figure is written like Q1.base 3.1, its name first.",
        figures=(
            "3.1 Q1.base",
            "Q1.base 3.1, 2.5",
            "Q1.base to 3.1",
            ", Q1.base 3.1",
            "Q1.base to, 5",
            "Q1.base 1,, Q1.emitter 2Q1.base to",
        ),
        readings=(
            "1.9 Q1.base",
            "Q1.base 1.9, 2.5",
            "Q1.base to 3.1",
            ", Q1.base 3.1",
            "~3.1",
            "Q1.base to, 5",
            "ohms 42k Q1.base",
            "ohms, Q1.base",
            "across 3.1 R3",
            "ohms",
            "Q1.base 1.9,",
            "skip",
            "skip 3",
            "across",
            "rail",
            "5% x",
            "skip Q1.base, 3",
            "+ 2 digits",
            "20 kohm/V",
            '"x"',
            "5 about",
            "Q1.base to",
        ),
    ),
    Slip(
        "the figure is missing behind the name",
        "Write it like Q1.base 3.1, or Q1.base to Q1.emitter 0.6.",
        figures=(
            "Q1.base",
            "Q1.base,",
            "Q1.base to Q1.emitter",
            "Q1.base about",
            "Q1.base Q1.emitter",
            "Q1.base, Q1.emitter 3",
            "Q1.base about, Q1.x 3",
            "Q1.base about about 5",
        ),
    ),
    Slip(
        "a comma is missing between two figures",
        "Write Q1.base 3.1, Q1.emitter 2.5 with a comma and a blank.",
        figures=(
            "Q1.base 3.1 Q1.emitter 2.5",
            "Q1.base 3.1 3.2",
            "Q1.base over Q1.emitter 2",
            "Q1.base 3.1 about 3.2",
            "Q1.base 3.1 to 3.2",
            "Q1.base over 3.1",
            "Q1.base 3 5%",
            "Q1.base over over",
            "Q1.base 3..5",
        ),
    ),
    Slip(
        "no = before a figure",
        "Write it like Q1.base 3.1.",
        figures=("Q1.base = 3.1", "Q1.base 3.1 = x", "= 3"),
    ),
    Slip(
        "the title of the readings stands in quotes",
        'Write it like readings "channel A" 2026-11-20.',
        readings=("readings channel A", "readings", "readings 2026-11-20"),
    ),
    Slip(
        "behind the title stands the day, written 2026-11-20, and nothing else",
        'Write it like readings "channel A" 2026-11-20.',
        readings=(
            'readings "channel A" 20.11.2026',
            'readings "channel A" today',
            'readings "channel A" 2026-11-20 evening',
            'readings "a" "b"',
            'readings "a", 2026-11-20',
        ),
    ),
    Slip(
        "the name of the stage stands in quotes, as in its own file",
        'Write it like for "line amplifier".',
        readings=("for line amplifier", "for", 'for "line" amplifier', 'for "line" "amp"', "for 5"),
    ),
    Slip(
        "only what is left out stands there, with commas between",
        "Write it like skip Q2.base, ohms across R3, Q2.base with C1 lifted.",
        readings=(
            "skip Q2.base 3.1",
            "skip Q2.base Q2.emitter",
            'skip Q2.base "hot"',
            "skip a,",
            "skip a about 5",
        ),
    ),
    Slip(
        "a generator is given by volts, ohms and its node",
        "Write it like generator 10 mV from 600 at IN.",
        readings=(
            "generator",
            "generator IN 10 mV",
            "generator 10 mV",
            "generator 10 mV at",
            "generator 10 mV at IN 5",
            "generator 10 mV IN",
            "generator from 600 at IN",
            "generator 10 mV from 600 IN",
            "generator 10 mV from at IN",
            "generator 10 mV from IN x",
        ),
    ),
    Slip(
        "gain is output over input",
        "Write it like gain at 1 kHz OUT over IN 12.",
        readings=(
            "gain OUT 12",
            "gain 12",
            "gain",
            "gain OUT IN 12",
            "gain OUT over 12",
            "gain at OUT over IN",
            "gain at 1 kHz 12",
            "gain OUT to IN 12",
            "gain OUT",
            "gain OUT over",
            "gain at 1 kHz",
            "gain at",
            "gain OUT, IN 12",
            "gain, OUT",
        ),
    ),
    Slip(
        "behind with stands what was done for this reading",
        "Write with C1 lifted, with Q1 warm, with Q1 cool or with 100 ohm across. A remark is put "
        "in quotes.",
        readings=(
            "Q1.base 3.1 with",
            "Q1.base 3.1 with C1",
            "Q1.base 3.1 with C1 removed",
            "Q1.base with 3.1",
            "Q1.base 3.1 with R1",
            "Q1.base 3.1 with 100 ohm",
            "Q1.base 3.1 with 100 ohm lifted",
            "Q1.base 3.1 with lifted",
            'Q1.base 3.1 with "C1"',
            "Q1.base 3.1 with about",
        ),
    ),
    Slip(
        "a remark in quotes is the last thing said of a reading",
        'Write it like Q1.base 3.1 range 10 V "second meter".',
        readings=(
            'Q1.base 3.1 "drifting" range 10 V',
            'Q1.base 3.1 "a" "b"',
            'Q1.base "a" 3.1',
            'meter 10 MEG "mine"',
            'line 121 V "high"',
            'Q1.base 1 "a" to',
            'across "x"',
            'Q1.base 3 "x" about',
            'meter "x"',
            'Q1.base to "x"',
            'ohms "x"',
        ),
    ),
    Slip(
        "a comma stands between readings; conditions get a line each",
        "Write line 121 V and temperature 31 C on two lines.",
        readings=("line 121 V, temperature 31 C", "meter 10 MEG, 1%", "meter, 5", "line 121, 5"),
    ),
)

# A character that no statement knows.
STRANGE: dict[str, tuple[str, str]] = {
    '"': ("quotes are opened here and not closed", 'Close them with a second ".'),
    "\u201c": ("quotes are opened here and not closed", 'Close them with a second ".'),
    "-": ("a single dash", "Wire is written with two: --."),
    "(": ("brackets mean nothing here", "Put a remark behind # or into a note."),
    ")": ("brackets mean nothing here", "Put a remark behind # or into a note."),
    "[": ("brackets mean nothing here", "Put a remark behind # or into a note."),
    "]": ("brackets mean nothing here", "Put a remark behind # or into a note."),
    ";": ("a semicolon", "Put each statement on a line of its own; commas part figures."),
    ":": ("a colon", "A name and its figure stand side by side: Q1.base 3.1."),
    "'": ("a single quote mark", 'Text is put in double quotes: "line amplifier".'),
    "!": (
        "! confirms the value before it, and here is none",
        "Write it directly behind the value.",
    ),
    "%": ("a percent sign without its number", "Write it like 5%."),
    ".": ("a point that belongs to nothing", "A leg is written like Q1.base, a value like 0.5."),
    "/": ("a stroke that belongs to nothing", "Write ohms per volt like 20 kohm/V."),
}
