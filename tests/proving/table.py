"""The table: counts and 95 % intervals from the records of a study."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from statistics import median
from typing import Any

from . import beside

Record = dict[str, Any]
FAMILIES = (
    "near saturation",
    "feedback pairs",
    "high-impedance bases",
    "split-rail amplifiers",
    "germanium when warm",
)


def wilson(hits: int, count: int, z: float = 1.96) -> tuple[float, float]:
    """Score interval of a share. Source: E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209."""
    if count == 0:
        return 0.0, 1.0
    share = hits / count
    scale = 1 + z * z / count
    middle = (share + z * z / (2 * count)) / scale
    half = z * math.sqrt(share * (1 - share) / count + z * z / (4 * count * count)) / scale
    return max(0.0, middle - half), min(1.0, middle + half)


def figure(hits: int, count: int) -> str:
    """`431/440  98.0 % (96.2-98.9)`."""
    if count == 0:
        return "0/0      -"
    low, high = wilson(hits, count)
    bounds = f"({100 * low:.1f}-{100 * high:.1f})"
    return f"{f'{hits}/{count}':<8}{100 * hits / count:5.1f} % {bounds}"


def brief(hits: int, count: int) -> str:
    """`43/44 98 % (88-100)`."""
    if count == 0:
        return "0/0"
    low, high = wilson(hits, count)
    return f"{hits}/{count} {100 * hits / count:.0f} % ({100 * low:.0f}-{100 * high:.0f})"


def _brief(rows: Iterable[Record], test: Callable[[Record], bool]) -> str:
    results = [bool(test(r)) for r in rows]
    return brief(sum(results), len(results))


def _share(rows: Iterable[Record], test: Callable[[Record], bool]) -> str:
    results = [bool(test(r)) for r in rows]
    return figure(sum(results), len(results))


def in_group(r: Record) -> bool:
    return bool(r["in_group"])


def right_or_same(r: Record) -> bool:
    return bool(r["first_right"] or r.get("same_to_readings"))


def called_sound(r: Record) -> bool:
    return float(r["worst_blame"]) <= 0.5


def moved(r: Record, bands: float = 1.0) -> bool:
    return float(r["shift"]) > bands


def table(records: Sequence[Record]) -> str:
    """The whole table, as text of 80 columns."""
    good = [r for r in records if "error" not in r]
    law = {name: [r for r in good if r["law"] == name] for name in ("single", "pair", "prior")}
    sound = [r for r in good if not r["faults"]]
    singles = [r for r in good if len(r["faults"]) == 1 and r["law"] in ("single", "prior")]
    shifted = [r for r in singles if moved(r)]
    lines = [
        f"cases {len(records)}, judged {len(good)}",
        "",
        _row("", "goal", "hits/n  share (95 %)"),
        _row("sound called sound", "98 %", _share(sound, called_sound)),
        "single faults that move a reading out of its healthy half-band:",
        _row("  true part in the first group", "97 %", _share(shifted, in_group)),
        _row("  ... in the first three groups", "99 %", _share(shifted, _three_groups)),
        _row("  ... among the first three suspects", "99 %", _share(shifted, _three)),
        _row("      or not to tell from the first", "", _share(shifted, _three_or_same)),
        _row("      as the weights themselves promise", "", promised(shifted, 3)),
        _row("  first suspect true or not to tell", "95 %", _share(shifted, right_or_same)),
        _row("  first suspect is the true part", "", _share(shifted, lambda r: r["first_right"])),
        _row("  called sound all the same", "", _share(shifted, lambda r: r["sound"] > 0.5)),
        "the same for those that move one by twice as much:",
        *_shifted_rows([r for r in singles if moved(r, 2.0)]),
        _row("pairs: the pair or a member first", "85 %", _share(_pairs(good), _first_right)),
        _row("  ... or what readings cannot tell from it", "", _share(_pairs(good), right_or_same)),
        _row("  ... as the weights themselves promise", "", promised(_pairs(good), 1)),
        _row("  the pair or a member in the first group", "", _share(_pairs(good), in_group)),
        _row("severity inside the 90 % range", "85-95 %", _share(_graded(singles), _inside)),
        _row("unsolved hypotheses", "0", str(sum(r["unsolved"] for r in good))),
        "",
        *_calibration(law["prior"]),
        "",
        *_hunts(law["single"]),
        "",
        *((*with_other, "") if (with_other := beside.lines(good)) else ()),
        *_by("hard family", shifted, lambda r: r["families"], FAMILIES),
        "",
        *_by("circuit", shifted, lambda r: [r["circuit"]]),
        "",
        *_by("fault", shifted, lambda r: [r["faults"][0]["name"]]),
        "",
        *_by("meter", shifted, lambda r: [r["meter"]]),
        "",
        *_sound_by_circuit(sound),
        "",
        *_housekeeping(records, good),
    ]
    return "\n".join(lines)


def _row(name: str, goal: str, value: str) -> str:
    return f"{name:<43} {goal:<7} {value}".rstrip()


def _three(r: Record) -> bool:
    return bool(r["in_three"])


def _three_or_same(r: Record) -> bool:
    return _three(r) or right_or_same(r)


def promised(rows: Sequence[Record], first: int) -> str:
    """Mean weight of the first suspects, given that there is a fault.

    Weights that hold good cannot put more of the true parts there, whatever their order.
    """
    if not rows:
        return ""
    shares = [
        sum(s["weight"] for s in r["suspects"][:first]) / max(1.0 - r["sound"], 1e-9) for r in rows
    ]
    return f"{'':8}{100.0 * min(sum(shares) / len(rows), 1.0):5.1f} %"


def _three_groups(r: Record) -> bool:
    return bool(r["in_three_groups"])


def _first_right(r: Record) -> bool:
    return bool(r["first_right"])


def _inside(r: Record) -> bool:
    return bool(r["severity"]["inside"])


def _graded(singles: Sequence[Record]) -> list[Record]:
    """Single faults with a degree that the tool names in its first group or gives weight."""
    return [r for r in singles if r.get("severity", {}).get("weight", 0.0) > 0.01 and moved(r)]


def _pairs(good: Sequence[Record]) -> list[Record]:
    return [r for r in good if len(r["faults"]) == 2 and moved(r)]


def _shifted_rows(rows: Sequence[Record]) -> list[str]:
    return [
        _row("  true part in the first group", "", _share(rows, in_group)),
        _row("  first suspect true or not to tell", "", _share(rows, right_or_same)),
        _row("  called sound all the same", "", _share(rows, lambda r: r["sound"] > 0.5)),
    ]


def _calibration(rows: Sequence[Record]) -> list[str]:
    """Suspects by the weight they were given, faults drawn by the tool's own table."""
    lines = [
        f"calibration: {len(rows)} cases drawn by the table of priors",
        "  weight given  suspects mean weight  share true (95 % interval)",
    ]
    every = [(w, bool(hit)) for r in rows for w, hit in r.get("weights", ())]
    for k in range(10):
        inside = [(w, hit) for w, hit in every if k / 10 <= w < (k + 1) / 10 or (k == 9 and w >= 1)]
        if inside:
            mean = sum(w for w, _ in inside) / len(inside)
            share = figure(sum(hit for _, hit in inside), len(inside))
            off = sum(hit for _, hit in inside) / len(inside) - mean
            mark = "" if len(inside) < 50 else "  within 5" if abs(off) <= 0.05 else "  OFF"
            lines.append(
                f"  {k / 10:.1f} to {(k + 1) / 10:.1f}    {len(inside):8d}"
                f"{100 * mean:9.1f} %   {share}{mark}"
            )
    return lines


def _hunts(rows: Sequence[Record]) -> list[str]:
    hunts = [r["hunt"] for r in rows if r.get("hunt") and moved(r)]
    if not hunts:
        return ["hunts from zero readings: none"]
    steps = [h["steps"] if h["steps"] is not None else math.inf for h in hunts]
    done = sum(h["steps"] is not None for h in hunts)

    def mean(name: str) -> str:
        return f"{sum(h[name] for h in hunts) / len(hunts):.1f}"

    def hits(name: str) -> str:
        return figure(sum(bool(h[name]) for h in hunts), len(hunts))

    sights = [sight for h in hunts for sight in h["sights"]]
    told = [(same, off) for said, same, off in sights if said]
    offs = sorted(off for _, off in told) or [math.nan]
    return [
        f"hunts from zero readings: {len(hunts)} single faults (hit: true part in first group)",
        f"  median {median(steps):g} readings to the last split by volts, of {mean('nodes')} nodes",
        f"  reached by the advice     {figure(done, len(hunts))}",
        f"  ... as many at random     {hits('random_done')}",
        f"  hit, following the advice {hits('hit')}, {mean('size')} parts",
        f"  ... as many at random     {hits('random_hit')}, {mean('random_size')} parts",
        f"  ... all nodes read        {hits('all_hit')}, {mean('all_size')} parts",
        f"  at first sight something  {figure(len(told), len(sights))} of these readings",
        f"  ... it leads afterwards   {figure(sum(same for same, _ in told), len(told))}",
        f"  ... its share is off by   {100 * median(offs):.0f} points (median),"
        f" {100 * offs[int(0.9 * (len(offs) - 1))]:.0f} (nine of ten)",
    ]


def _by(
    title: str,
    rows: Sequence[Record],
    names: Callable[[Record], Sequence[str]],
    order: Sequence[str] = (),
) -> list[str]:
    found = list(order) or sorted({name for r in rows for name in names(r)})
    lines = [f"{'by ' + title:<31} {'true part in group':<24} first true or same"]
    for name in found:
        some = [r for r in rows if name in names(r)]
        lines.append(f"  {name:<29} {_brief(some, in_group):<24} {_brief(some, right_or_same)}")
    return lines


def _sound_by_circuit(sound: Sequence[Record]) -> list[str]:
    circuits = sorted({r["circuit"] for r in sound})
    rows = [(name, [r for r in sound if r["circuit"] == name]) for name in circuits]
    return [
        "sound stages called sound, by circuit",
        *(f"  {name:<29} {_brief(some, called_sound)}" for name, some in rows),
    ]


def _housekeeping(records: Sequence[Record], good: Sequence[Record]) -> list[str]:
    errors = Counter(r["error"] for r in records if "error" in r)
    seconds = [r["tool_seconds"] for r in good]
    lines = [
        f"specimens redrawn because the truth did not verify: {sum(r['redrawn'] for r in good)}",
        f"generated designs rejected as badly biased: {sum(r.get('undesigned', 0) for r in good)}",
        f"cases called unexplained: {sum(not r['explained'] for r in good)}",
    ]
    if seconds:
        total = sum(r["seconds"] for r in records)
        lines.append(
            f"seconds a case: tool median {median(seconds):.2f}, most {max(seconds):.2f};"
            f" all in all {total / len(records):.2f}"
        )
    lines += [f"error in {count} cases: {text}" for text, count in errors.most_common(8)]
    return lines
