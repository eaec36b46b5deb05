"""`stability release`: conditional readings, listed or released by a named person with a reason."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from stability.app import App, parse_instant
from stability.cli.options import show, with_app
from stability.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stability.services.release import Impact, Touched

__all__ = ["command", "impact_data"]


@click.command("release")
@with_app(as_json=True, as_of=True, person=True)
@click.argument("instrument", required=False)
@click.option("--sample", metavar="CODE", help="Readings of this sample only.")
@click.option("--from", "since", metavar="TIME", help="Readings taken from then on.")
@click.option("--to", "until", metavar="TIME", help="Readings taken until then; a day means its end.")
@click.option("--reason", metavar="TEXT", help="Why they may count; without it they are listed.")
def command(
    app: App,
    instrument: str | None,
    *,
    sample: str | None,
    since: str | None,
    until: str | None,
    reason: str | None,
) -> None:
    """Release the conditional readings of INSTRUMENT (or of a sample), or list them without --reason.

    A reading is conditional when its instrument was not certified, or was found out. A statement refuses it.

    Example: stability release VIS-1 --reason "certified, as found +0.8 %" --person "Tomas B."
    """
    from stability.services.instruments_words import counted, moment_words, touched_lines
    from stability.services.release import Wanted, impact, release

    wanted = Wanted(
        instrument=instrument,
        sample=sample,
        since=parse_instant(since, app.zone) if since else None,
        until=parse_instant(until, app.zone, end_of_day=True) if until else None,
    )
    if reason is None:
        found = impact(app.records, wanted, as_of=app.as_of)
        show(app, impact_data(found), lambda: "\n".join(touched_lines(found, app.zone)))
        return
    if app.as_of_text:
        raise InputError("a release is made now", hint="--as-of goes with the list, without --reason")
    if instrument is None and sample is None:
        raise InputError("which readings?", hint="name the instrument, or --sample CODE")
    done = release(app.records, wanted, reason=reason, person=app.person, now=app.now)
    data = {"released": _readings(done.readings), "person": done.person, "reason": done.reason}

    def text() -> str:
        count = len({reading.reading_id for reading in done.readings})
        lines = [f"{counted(count, 'reading')} released by {done.person}: {done.reason}"]
        for reading in done.readings:
            taken = moment_words(reading.taken_at, app.zone)
            lines.append(f"  {reading.sample} {taken}; {reading.instrument}: {'; '.join(reading.says)}")
        return "\n".join(lines)

    show(app, data, text)


def impact_data(found: Impact) -> dict[str, Any]:
    """Return what was touched as data."""
    return {
        "readings": _readings(found.readings),
        "forecasts": [
            {"blend": words, "count": each.count, "first_at": each.first_at, "last_at": each.last_at}
            for words, each in found.forecasts
        ],
        "statements": [
            {
                "number": each.number,
                "version": each.version,
                "blend": words,
                "made_at": each.made_at,
                "step": each.step,
            }
            for words, each in found.statements
        ],
    }


def _readings(found: Sequence[Touched]) -> list[dict[str, Any]]:
    return [
        {
            "study": each.study,
            "sample": each.sample,
            "taken_at": each.taken_at,
            "viscosity_mpas": each.viscosity_mpas,
            "gel_grade": each.gel_grade,
            "instrument": each.instrument,
            "conditional": each.conditional,
            "says": list(each.says),
        }
        for each in found
    ]
