"""Lots of one blend: which of them make one row of a forecast.

A blend's lots stand together where the lot test lets one life stand for all of them, else each on its own.
The key of lots that stand together names none of them, so that it stays when a further lot joins.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

from stability.services.blends import Blend, BlendKey

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["as_rows", "by_lot", "families", "lot_numbers", "row_for", "together"]

T = TypeVar("T")


def families(blends: Iterable[Blend]) -> tuple[tuple[Blend, ...], ...]:
    """Return the lots of each blend, in the order of the blends."""
    found: dict[BlendKey, list[Blend]] = {}
    for blend in blends:
        found.setdefault(blend.key.together, []).append(blend)
    return tuple(tuple(lots) for lots in found.values())


def together(lots: Sequence[Blend]) -> Blend:
    """Return several lots as one blend."""
    first = lots[0]
    return replace(
        first,
        key=first.key.together,
        samples=tuple(sample for lot in lots for sample in lot.samples),
        readings={sample: rows for lot in lots for sample, rows in lot.readings.items()},
    )


def by_lot(blend: Blend) -> tuple[Blend, ...]:
    """Return a blend's lots as blends of their own, in order of their names."""
    if blend.key.product_lot is not None:
        return (blend,)
    found = []
    for product_lot, thinner_lot in _lots(blend):
        own = tuple(s for s in blend.samples if (s.product_lot, s.thinner_lot) == (product_lot, thinner_lot))
        ids = {s.id for s in own}
        found.append(
            replace(
                blend,
                key=replace(blend.key, product_lot=product_lot, thinner_lot=thinner_lot),
                samples=own,
                readings={sample: rows for sample, rows in blend.readings.items() if sample in ids},
            )
        )
    return tuple(found)


def lot_numbers(blend: Blend, samples: Sequence[str]) -> list[int]:
    """Return the number of the lot of each of some samples, by their codes."""
    lots = _lots(blend)
    number = {s.sample: lots.index((s.product_lot, s.thinner_lot)) for s in blend.samples}
    return [number[sample] for sample in samples]


def _lots(blend: Blend) -> list[tuple[str, str | None]]:
    return sorted(
        {(s.product_lot, s.thinner_lot) for s in blend.samples}, key=lambda lot: (lot[0], lot[1] or "")
    )


def as_rows(blends: Iterable[Blend], keys: Collection[str]) -> tuple[Blend, ...]:
    """Return the blends as the rows of forecasts have them, by the keys of the forecasts.

    Lots that a forecast takes together become one blend; what no forecast knows stays as it is.
    """
    rows: list[Blend] = []
    for lots in families(blends):
        if lots[0].key.together.text not in keys:
            rows += lots
            continue
        # a lot that was never read is in no forecast yet
        read = [lot for lot in lots if lot.readings]
        rows += [together(read), *(lot for lot in lots if not lot.readings)]
    return tuple(rows)


def row_for(key: BlendKey, rows: Mapping[str, T]) -> T | None:
    """Return what is kept for a lot under its own key, or under that of its blend's lots together."""
    return rows.get(key.text, rows.get(key.together.text))
