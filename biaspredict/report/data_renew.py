"""The record and the comma-separated table of `renew`."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from biaspredict.predict.ordering import Order
from biaspredict.predict.renew import Effect, Item, Renewal, Total
from biaspredict.report.data import VERSION, Record, level_record
from biaspredict.report.renewing import labels

COLUMNS = (
    "stage", "part", "other channel", "advice", "does", "sheet farads", "sheet volts",
    "DC volts", "DC low", "DC high", "most volts", "ripple volts", "ripple amps",
    "order farads", "order farads in parallel", "order volts", "order make", "count",
    "plus faces", "minus faces", "changes", "before", "after", "can", "warnings", "remarks",
)  # fmt: skip
# A cell that begins with one of these is taken for a formula by spreadsheets.
FORMULA = ("=", "+", "-", "@", "\t", "\r")


def renew_record(found: Sequence[Renewal], order: Iterable[Total]) -> Record:
    """Farads, volts, amperes; `before` and `after` in hertz (corner) or volts (ripple)."""
    return {
        "record": "biaspredict renew",
        "version": VERSION,
        "stages": [
            {
                "stage": renewal.stage.title,
                "capacitors": [item_record(item) for item in renewal.items],
                "germanium": list(renewal.germanium),
                "remarks": list(renewal.remarks),
                "withheld": list(renewal.withheld),
            }
            for renewal in found
        ],
        "order": [
            {
                "farads": total.farads,
                "volts": total.volts,
                "make": total.make,
                "count": total.count,
                "where": [
                    {"stage": found[place].stage.title, "parts": list(refs)}
                    for place, refs in total.where
                ],
            }
            for total in order
        ],
    }


def item_record(item: Item) -> Record:
    """One capacitor."""
    return {
        "part": item.ref,
        "other_channel": item.fellow or None,
        "advice": item.advice.value,
        "does": item.does,
        "dielectric": item.dielectric,
        "can": item.can or None,
        "sheet": {"farads": item.farads, "volts": item.working},
        "dc": level_record(item.level) if item.level else None,
        "most_volts": item.most,
        "ripple": item.ripple,
        "ripple_amps": item.amps,
        "order": order_record(item.order),
        "changes": _changes(item),
        "plus": item.plus,
        "minus": item.minus,
        "polar": item.polar,
        "warnings": list(item.warnings),
        "remarks": list(item.remarks),
    }


def order_record(order: Order | None) -> Record | None:
    """What to buy; None where the part stays."""
    if order is None:
        return None
    return {
        "farads": order.farads,
        "in_parallel": order.beside,
        "volts": order.volts,
        "make": order.make,
    }


def _changes(item: Item) -> Record | None:
    if item.effect is None:
        return None
    unit = "Hz" if item.effect is Effect.CORNER else "V"
    return {
        "what": item.effect.value, "unit": unit, "before": item.before, "after": item.after,
    }


def renew_csv(found: Sequence[Renewal]) -> str:
    """One line a capacitor, those that stay included; a heading line first."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for renewal, name in zip(found, labels(found), strict=True):
        for item in renewal.items:
            writer.writerow([_cell(cell) for cell in _cells(name, item)])
    return text.getvalue()


def _cells(name: str, item: Item) -> tuple[str | float | None, ...]:
    level: tuple[float | None, ...] = (None, None, None)
    if item.level is not None:
        level = item.level.volts, item.level.low, item.level.high
    order: tuple[str | float | None, ...] = (None, None, None, None)
    if item.order is not None:
        order = item.order.farads, item.order.beside, item.order.volts, item.order.make
    return (
        name, item.ref, item.fellow, item.advice.value, item.does, item.farads, item.working,
        *level, item.most, item.ripple, item.amps, *order, item.count,
        item.plus if item.polar else "", item.minus if item.polar else "",
        item.effect.value if item.effect else "", item.before, item.after, item.can,
        " ".join(item.warnings), " ".join(item.remarks),
    )  # fmt: skip


def _cell(value: str | float | None) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(FORMULA) else value
    return f"{value:.6g}"
