"""Moving a sample to another store for good; its dose follows the stores it stood in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import note
from stability.records.moves import insert_move, moves_of, store_named, store_names
from stability.services.lookup import known_sample, nearest
from stability.services.opinion import cautions_at
from stability.services.times import local_words, refuse_out_of_time

__all__ = ["Moved", "move_sample"]

UTC = ZoneInfo("UTC")


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """A move as kept; `already` says that it had been on record."""

    sample: str
    from_store: str
    to_store: str
    at: datetime
    says: str
    cautions: tuple[str, ...]
    already: bool


def move_sample(  # noqa: PLR0913 - what goes where, and who says so when
    records: Records,
    sample: str,
    to_store: str,
    *,
    at: datetime,
    person: str,
    now: datetime,
    zone: ZoneInfo = UTC,
) -> Moved:
    """Note that a sample stands in another store from an instant on.

    Raises
    ------
    InputError
        If sample or store are not on record, it stands there already, or the time cannot be.
    """
    with records.writing() as connection:
        tin = known_sample(connection, sample, at=at)
        place = store_named(connection, to_store)
        if place is None:
            hint = nearest(to_store, store_names(connection)) or "import a table of stores first"
            raise InputError(f"store {to_store!r} is not on record", hint=hint)
        refuse_out_of_time(tin, at, now=now, zone=zone)
        moves = moves_of(connection, tin.id)
        already = any(move.at == at and move.to_store == to_store for move in moves)
        if not already:
            if any(move.at == at for move in moves):
                raise InputError(f"sample {tin.sample} has another move at {local_words(at, zone)}")
            if tin.store == to_store:
                raise InputError(f"sample {tin.sample} stands in {to_store} already")
            insert_move(connection, sample_id=tin.id, to_store_id=place.id, at=at, entered_at=now)
            note(
                connection,
                at=now,
                person=person,
                verb="moved",
                subject=tin.sample,
                details={"from": tin.store, "to": to_store, "at": at},
            )
        after = known_sample(connection, sample, at=at)
    there = f"{to_store} ({place.temperature_c:g} °C)"
    says = f"{tin.sample} stands in {there}" if already else f"{tin.sample} moved from {tin.store} to {there}"
    return Moved(
        sample=tin.sample,
        from_store=tin.store,
        to_store=to_store,
        at=at,
        says=says,
        # whichever of the two stores is the warmer asks for the care
        cautions=tuple(dict.fromkeys((*cautions_at(tin)[:-1], *cautions_at(after)))),
        already=already,
    )
