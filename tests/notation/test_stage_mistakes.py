"""What a stage file cannot mean: each mistake with its place, the fact and the remedy.

In the texts [[ and ]] stand around what the caret must mark.
"""

from __future__ import annotations

import re

import pytest

from biaspredict.errors import InputError, Mistakes
from biaspredict.notation import read_stage

SOUND = (
    "B+ -- R1 100K -- Q1.base -- R2 22K -- ground",
    "Q1 npn",
    "B+ -- R3 6K8 -- Q1.collector",
    "Q1.emitter -- R4 1.5K -- ground",
)

# (lines added to a sound stage, the fact, part of the remedy)
SLIPS = [
    # rails, pins, ports
    ("rail [[B+]] 24 V", "B+ is given a second time", "Keep one"),
    ("rail [[ground]] 5 V", "ground is ground itself", "no rail"),
    ("rail [[R9]] 5 V", "R9 is spelt like a part", "another name"),
    ("rail [[chart]] 5 V", "'chart' is a word of this notation", "another name"),
    ("rail [[A+]] 5%", "the volts of the rail A+ are missing", "rail B+ 22 V"),
    ("rail A+ [[5 kV]]", "5 kV is not possible for a rail", "Possible:"),
    ("rail A+ [[250 V]]", "250 V is unusual for a rail", "250 V!"),
    ("rail A+ 5 V [[vai]] 470", "'vai' does not belong here", "Did you mean via?"),
    ("rail A+ 5 V via 470 [[via 100]]", "this is said twice", "rail B+"),
    ("rail A+ 5 V [[via]]", "behind 'via' stands a value", "via 470"),
    ("input [[NOWHERE]] from 600", "no node is called 'NOWHERE'", "paths"),
    ("input [[Q1.bse]] from 600", "Q1 has no leg 'bse'", "Did you mean Q1.base?"),
    ("input Q1.base from [[600 V]]", "'600 V' is not a resistance", ""),
    ("output Q1.base [[from 600]]", "'from 600' does not belong here", "output OUT into 47K"),
    ("output Q1.base into [[0]]", "0 is not possible for a load", "Possible:"),
    ("input Q1.base from 600\ninput [[R2.1]]", "R2.1 has two inputs", "Keep one"),
    ("pin [[U1.5]]", "what does the pin U1.5 do?", "holds"),
    ("pin [[U1.5]] takes 1 mA via 1K", "what does the pin U1.5 do?", "takes 2 mA"),
    # parts
    ("Q1.base -- R9 [[100 V]] -- ground", "'100 V' is not a resistance", ""),
    ("Q1.base -- R9 [[0]] -- ground", "no resistor has no resistance", "link"),
    ("Q1.base -- R9 [[68M]] -- ground", "68M is unusual for a resistor", "68M!"),
    ("Q1.base -- R9 [[10G]] -- ground", "10G is not possible for a resistor", "Possible:"),
    ("Q1.base -- R9 1K [[2K]] -- ground", "R9 has two values", "fitted"),
    ("Q1.base -- R9 1K 5% [[10%]] -- ground", "R9 has two tolerances", "Keep one"),
    ("Q1.base -- R9 1K [[carbno]] -- ground", "'carbno' says nothing about a", "carbon?"),
    ("Q1.base -- [[R9 carbon]] -- ground", "R9 has no value", "R9 6K8"),
    ("Q1.base -- [[R9]] -- ground", "nothing is said of R9", "R9 ..."),
    ("Q1.base -- [[X9]] 1K -- ground", "what kind of part is X9?", "X9 resistor"),
    ("Q1.base -- [[R1 1K]] -- ground", "R1 is described a second time (first in line 4)", "once"),
    ("Q1.base -- [[R1]] -- ground", "R1 stands in a path a second time (first in line 4)", "R1.1"),
    ("[[R9 1K]]", "R9 is described, but no path meets it", "B+ -- R9 -- ground"),
    ("[[Q9 npn]]", "Q9 is described, but no path meets it", "Q9.collector"),
    ("Q1.base -- [[Q1]] -- ground", "Q1 has three legs", "Q1.emitter"),
    ("Q1.base -- C9 [[4.7 F]] film -- ground", "4.7 F is not possible for a film", "10000 uF"),
    ("Q1.base -- C9 [[4.7F]] -- ground", "4.7F is not possible for a capacitor", "to 1 F"),
    ("Q1.base -- [[C9 47 uF]] -- ground", "C9 has 1 uF or more and shows no plus", "C9+"),
    ("Q1.base -- [[+C9+ 47 uF]] -- ground", "C9 has a plus on both sides", "+C9"),
    ("Q1.base -- [[C9 1 uF tantalum]] -- ground", "which side of C9 is the plus?", "+C9"),
    ("Q1.base -- [[C9+ 1 uF film]] -- ground", "C9 is film and has no polarity", "plus"),
    ("Q1.base -- [[C9+ 1 uF non-polar]] -- ground", "C9 is non-polar and has no plus", "plus"),
    ("Q1.base -- C9 [[.047]] -- ground", ".047 what? The unit is missing", ".047 MFD"),
    ("Q1.base -- +C9 5 uF [[15]] -- ground", "15 what? The unit is missing", "volts"),
    ("Q1.base -- +C9 [[25/16]] -- ground", "25/16 may be", "25 uF"),
    ("Q1.base -- C9 [[+5 nF]] -- ground", "a plus before a value means nothing", "+C9"),
    ("Q1.base -- [[R9+ 1K]] -- ground", "a plus belongs to an electrolytic", "Take it off"),
    ("Q1.base -- [[R9> 1K]] -- ground", "an arrow belongs to a diode", "Take it off"),
    ("Q1.base -- [[D9 silicon]] -- ground", "which way does D9 point?", "D9>"),
    ("Q1.base -- [[<D9> silicon]] -- ground", "which way does D9 point?", "<D9"),
    ("Q1.base -- [[+D9]] -- ground", "nothing is said of D9", "D9 ..."),
    ("Q1.base -- [[+D9 silicon]] -- ground", "D9 is a diode: it has an arrow", "D9>"),
    ("Q1.base -- D9> [[12 V]] -- ground", "a diode has no value of its own", "drop"),
    ("ground -- [[Z9>]] -- B+", "Z9: a zener needs its volts", "zener 12 V"),
    ("ground -- Z9> [[small]] -- B+", "'small' says nothing about a zener", ""),
    ("Q9 [[nnp]]\nQ9.base -- Q1.base", "'nnp' says nothing about a transistor", "pnp?"),
    ("Q9 npn [[gian]] 80\nQ9.base -- Q1.base", "'gian' says nothing about a", "gain?"),
    ("Q9 npn [[gain 300..80]]\nQ9.base -- Q1.base", "the lower limit comes first", "80..300"),
    ("Q9 npn [[gain]]\nQ9.base -- Q1.base", "behind 'gain' stands a value or two", "80..300"),
    ("Q9 npn [[icbo 5%]]\nQ9.base -- Q1.base", "behind 'icbo' stands one value", "icbo"),
    ("Q9 npn [[pnp]]\nQ9.base -- Q1.base", "Q9 is called both npn and pnp", "Keep one"),
    ("Q9 npn [[diode]]\nQ9.base -- Q1.base", "Q9 is called two kinds of part", "Keep one"),
    ("Q9 npn gain [[80-300]]\nQ9.base -- Q1.base", "80-300: limits are written", "80..300?"),
    ("Q9 npn vbe [[6 V]]\nQ9.base -- Q1.base", "6 V is not possible for a drop or vbe", ""),
    ("Q9 npn gain 80 [[gain 90]]\nQ9.base -- Q1.base", "Q9: this is said twice", "Keep one"),
    ("[[Q9 gain 80]]\nQ9.base -- Q1.base", "Q9: npn or pnp?", "Q9 npn"),
    ("[[J9 fet]]\nJ9.gate -- Q1.base", "J9: n-channel or p-channel?", "J9 n-channel"),
    ("Q1.base -- [[S9 switch]] -- ground", "is S9 open or closed?", "S9 switch closed"),
    ("Q1.base -- [[LA9 6 V]] -- ground", "LA9: a lamp needs its volts and its amps", "150 mA"),
    ("Q1.base -- LA9 6 V [[150]] -- ground", "150 what? The unit is missing", "amperes"),
    ("Q1.base -- T9 [[10m]] -- ground", "10m may be the volts of a winding or", "in full"),
    ("Q1.base -- [[T9 18 V at 500 mA]] -- ground", "T9: volts under load, amps and", "15%"),
    ("P9 pot 50K at [[1.5]]\nP9.top -- Q1.base", "1.5 is not possible for the position", "1."),
    ("P9 pot 50K [[at 150%]]\nP9.top -- Q1.base", "150% is not possible for the", "1."),
    ("P9 pot 50K [[at left]]\nP9.top -- Q1.base", "behind 'at' stands the position", "at top"),
    ("[[D9 diode junctions 1.5]]\nQ1.base -- D9> -- ground", "D9: junctions are counted", "2"),
    # nodes
    ("B+ -- [[ground]]", "this wire joins B+ and ground", "left out"),
    ("B+ -- R9 1K -- [[Q11.collector]]", "no part is called Q11", "Q1.collector?"),
    ("B+ -- R9 1K -- [[U9.14]]", "no part is called U9", "pin U9.14 holds"),
    ("B+ -- R9 1K -- [[Q1.colector]]", "Q1 has no leg 'colector'", "Q1.collector?"),
    ("B+ -- R9 1K -- [[R2.3]]", "R2 has no leg '3'", "R2."),
    ("B+ -- R9 1K -- [[meter]]", "'meter' is a word of this notation", "something else"),
    ("B+ -- [[R9 1K]]", "the path ends in a part, R9", "R9.2"),
    ("[[R9 1K]] -- B+", "the path begins in a part, R9", "R9.1"),
    ("B+ -- R9 1K -- [[R1/R4]]", "R1 and R4 do not meet", "R1.1"),
    ("[[lonely]] -- alone", "no part meets lonely", "Check"),
    ("[[OUT]]", "'OUT' says nothing by itself", "Did you mean output?"),
    ("[[B+ 22 V]] -- R9 1K -- ground", "B+ is a node, and a node has no value", "rail B+"),
    ("yellow = [[green]]", "no node is called 'green'", ""),
    ("[[Q1.base]] = Q1.emitter", "Q1.base is spelt like a part or its leg", "another name"),
    ("yellow = Q1.base\n[[yellow]] = Q1.emitter", "yellow is given a second time", "Keep one"),
    # charts
    ("[[chart 20%]]\n  Q1.base 3", "volts or ohms?", "chart volts 20%"),
    ("[[chart volts 20%]]", "a chart without figures", "indented"),
    ("chart volts\n  Q1.base 3\n  [[Q1.base 4]]", "Q1.base stands twice on this chart", "Keep"),
    ("chart volts\n  [[Q1.base over]]", "'over' belongs to ohms", "volts"),
    ("chart volts\n  [[Qx.base]] 3", "no part is called Qx", "Q1.base?"),
    ("chart volts\n  Q1.base [[3 kV]]", "3 kV is not possible for volts", "Possible"),
    ("chart volts\n  Q1.base 3\n[[Q1.emitter 2]]", "is this a figure of the chart", "indented"),
    ("chart volts\n  Q1.base 3\n[[Q1.emitter 2, B+ 3]]", "is this a figure of the", "indented"),
    ("chart volts meter [[1 ohm]]\n  B+ 22", "1 ohm is not possible for the ohms of a", ""),
    ("chart volts [[meter]] \n  B+ 22", "which meter?", "20 kohm/V"),
    ("chart volts [[meter 11 MEG]] 20 kohm/V\n  B+ 22", "a meter has a fixed resistance", "or"),
    ("chart volts [[-10/+20%]]\n  B+ 22", "one percentage for both directions", "20%"),
    # assumptions, the other channel
    ("assume [[sitors]] 5%", "'sitors' does not belong here", "Did you mean resistors?"),
    ("assume resistors 5%, [[resistors]] 10%", "this is assumed twice", "Keep one"),
    ("assume temperature [[300 C]]", "300 C is not possible for a temperature", "150 C"),
    ("assume temperature [[-30 C]]", "-30 C is unusual for a temperature", "-20 C"),
    ("assume bare capacitors in [[ohms]]", "'ohms' is no unit of capacitance", "MFD"),
    ("other channel [[R99]] = R199", "nothing is said of R99", "R99 ..."),
    ("other channel [[offset 1.5]]", "an offset is a whole number", "offset 100"),
    ("other channel R1 = R2, [[R1]] = R3", "this is paired twice", "Keep one"),
    ('[[stage "again"]]', "a second stage begins here", "a file of its own"),
]


def stage_text(added: str) -> str:
    return "\n".join(['stage "x"', "rail B+ 22 V", 'note ""', *SOUND, added])


@pytest.mark.parametrize(("marked", "fact", "remedy"), SLIPS, ids=[slip[0][:40] for slip in SLIPS])
def test_mistake(marked: str, fact: str, remedy: str) -> None:
    before, _, rest = marked.partition("[[")
    inside, _, _ = rest.partition("]]")
    text = stage_text(marked.replace("[[", "").replace("]]", ""))
    with pytest.raises(Mistakes) as caught:
        read_stage(text, "x.stage")
    found = caught.value.mistakes
    assert len(found) == 1, [str(m) for m in found]
    mistake = found[0]
    assert mistake.fact.startswith(fact)
    assert remedy in mistake.remedy
    place = mistake.place
    assert place is not None
    assert place.line == 8 + before.count("\n")
    assert place.text[place.column - 1 : place.end_column - 1] == inside


def test_all_mistakes_come_together_in_the_order_of_their_places() -> None:
    text = stage_text("Q9 nnp\nB+ -- R9 100 V -- (x)\nB+ -- R8 0 -- Q1.bse\nchart volt\n  Qx 1")
    with pytest.raises(Mistakes) as caught:
        read_stage(text, "x.stage")
    lines = [m.place.line for m in caught.value.mistakes if m.place]
    assert lines == sorted(lines)
    assert {8, 9, 10, 11} <= set(lines)


def test_a_line_that_cannot_be_read_blames_no_other() -> None:
    """Q1 is described in a line with a slip: nothing is said of its legs elsewhere."""
    text = 'stage "x"\nrail B+ 9 V\nQ1 npn (small)\nB+ -- R1 1K -- Q1.base'
    with pytest.raises(Mistakes) as caught:
        read_stage(text, "x.stage")
    assert [m.place.line for m in caught.value.mistakes if m.place] == [3]


def test_the_message_of_the_guide() -> None:
    text = stage_text("Q1.emitter -- R9 1.5K -- Q11.base")
    with pytest.raises(Mistakes) as caught:
        read_stage(text, "preamp.stage")
    assert str(caught.value) == (
        "preamp.stage, line 8, column 26: no part is called Q11\n"
        "Q1.emitter -- R9 1.5K -- Q11.base\n"
        "                         ^^^^^^^^\n"
        "  Did you mean Q1.base?"
    )


def test_very_many_mistakes_are_cut() -> None:
    with pytest.raises(Mistakes) as caught:
        read_stage('stage "x"\n' + "(\n" * 500, "x.stage")
    found = caught.value.mistakes
    assert len(found) == 41
    assert found[-1].fact == "and 460 more mistakes"


@pytest.mark.parametrize(
    ("text", "fact"),
    [
        ("", "the file says nothing"),
        ("# only a comment\n\n", "the file says nothing"),
        ('readings "a" 2026-11-20\nQ1.base 3', "this is a file of readings, not a stage"),
        ("rail B+ 22 V\nB+ -- R1 1K -- ground", "the file does not begin with the name"),
        ('stage "x"', "no part is described"),
        ('stage ""\nB+ -- R1 1K -- ground', "the stage has no name"),
    ],
)
def test_what_is_no_stage_gets_one_message(text: str, fact: str) -> None:
    with pytest.raises(InputError) as caught:
        read_stage(text, "x.stage")
    assert isinstance(caught.value, Mistakes)
    assert len(caught.value.mistakes) == 1
    assert caught.value.mistakes[0].fact.startswith(fact)
    assert re.match(r"x\.stage, line 1, column 1: ", str(caught.value))
