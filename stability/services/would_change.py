"""What would turn each evidence check round: the cheapest next thing to read or to look at."""

from __future__ import annotations

from collections.abc import Mapping

__all__ = ["WOULD_CHANGE"]

WOULD_CHANGE: Mapping[str, str] = {
    "storage_store_present": "tins in a store within 2.5 °C of the storage temperature",
    "temperatures": "tins of this blend in a further store, warmer or cooler",
    "tins": "a second tin in every store that has one",
    "amount": "more readings, of at least four tins",
    "real_time": "later readings at the storage temperature",
    "reach": "later readings of the warmest stores, until a tin has used the whole life",
    "straight_arrhenius": "later readings of the coldest store, which alone speaks for the storage "
    "temperature until then",
    "method_spread": "a look at the readings farthest off the curve: check oil, spindle, temperature, lid",
    "runs": "a look at readings that lie on one side together: a day, an instrument, a tin",
    "lack_of_fit": "later readings of the stores that leave the curve; a bend that heat alone brings "
    "is no news of the storage temperature",
    "one_shape": "later readings of the store whose curve differs, and fewer hopes of it: heat may bring "
    "what the storage temperature never sees",
    "dose_clock": "a look at the loggers and the take-outs: whether the tins stood where the records say",
    "unresolved_step": "what changed that day, put on record with a bridge reading",
    "leaking_tin": "a look at that tin: its mass, its lid, its place; then a further tin in its store",
    "day_bias": "a check of the instrument on every day of reading, at one temperature of the sample",
    "lognormal_or_weibull": "more tins seen to gel, and looked at more often near the gel",
}
