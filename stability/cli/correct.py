"""`stability correct`: a correction is a new row; both values stay visible for ever."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from stability.app import App, parse_instant
from stability.cli.options import with_app
from stability.cli.typed import NUMBER, say
from stability.errors import InputError

if TYPE_CHECKING:
    from stability.services.correct import Corrected

__all__ = ["command", "tell"]

_OF_CURES = ("dry_through_h", "film_um", "operator", "note")
_ONLY_CURES = ("dry_through_h", "film_um")


@click.command("correct", context_settings={"ignore_unknown_options": True})
@with_app(as_json=True, as_of=True, person=True)
@click.argument("sample", required=False)
@click.argument("taken_at", required=False)
@click.option("--reason", "--because", "reason", metavar="TEXT", help="What happened; kept with it.")
@click.option("--viscosity", "viscosity_mpas", metavar="VALUE", help="Viscosity, mPa·s, or >50000.")
@click.option("--temp", "temperature_c", type=NUMBER, help="Temperature in the liquid, °C.")
@click.option("--grade", "gel_grade", type=click.IntRange(0, 5), help="Gel grade, 0 to 5.")
@click.option("--at", "moment", metavar="TIME", help="When it was really taken.")
@click.option("--instrument", help="Instrument as on record.")
@click.option("--spindle", help="Spindle.")
@click.option("--speed", "speed_rpm", type=NUMBER, help="Speed, rpm.")
@click.option("--torque", "torque_pct", type=NUMBER, help="Torque, % of full scale.")
@click.option("--cup", help="Flow cup.")
@click.option("--efflux", "efflux_s", type=NUMBER, help="Efflux time, s.")
@click.option("--density", "density_g_ml", type=NUMBER, help="Density, g/mL.")
@click.option("--mass", "mass_g", type=NUMBER, help="Gross mass of the tin, g.")
@click.option("--appearance", metavar="TEXT", help="What it looks like.")
@click.option("--photo", metavar="NAME", help="File name or number of the photo.")
@click.option("--operator", metavar="NAME", help="Who measured.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@click.option("--cure", "humidity_pct", type=NUMBER, metavar="HUMIDITY", help="The drying test at this % RH.")
@click.option("--dry-through", "dry_through_h", type=NUMBER, help="Dry-through time, h (with --cure).")
@click.option("--film", "film_um", type=NUMBER, help="Wet film, µm (with --cure).")
@click.option("--set-aside", is_flag=True, help="Take it out of all sums; it stays on record.")
@click.option(
    "--swap", nargs=4, metavar="SAMPLE TIME SAMPLE TIME", help="Exchange two readings, both or neither."
)
@click.option(
    "--what",
    type=click.Choice(["rows", "lids", "masses", "days"]),
    help="With --swap: what changed places; default rows.",
)
@click.option(
    "--find-swaps", is_flag=True, help="List readings that seem exchanged; writes nothing by itself."
)
@click.option("--study", metavar="CODE", help="With --find-swaps: of this study only.")
def command(app: App, sample: str | None, taken_at: str | None, **given: Any) -> None:
    """Correct the reading of SAMPLE taken at TAKEN_AT: what it begins with, such as a date, or `last`.

    Examples: stability correct 0417-K last --viscosity 389 --because "digits exchanged"

    stability correct --find-swaps
    """
    find, study = given.pop("find_swaps"), given.pop("study")
    swap, what, set_aside = given.pop("swap"), given.pop("what"), given.pop("set_aside")
    reason, moment, humidity_pct = given.pop("reason"), given.pop("moment"), given.pop("humidity_pct")
    values = {name: value for name, value in given.items() if value is not None}
    if moment is not None:
        values["taken_at"] = parse_instant(moment, app.zone)
    if find:
        from stability.cli.correct_swaps import find_and_ask

        if sample or values or swap or set_aside or humidity_pct is not None:
            raise InputError("--find-swaps goes with --study and --as-of alone", hint="it changes nothing")
        find_and_ask(app, study, reason)
        return
    if sample and not sample.startswith("-") and not taken_at and swap is None:
        _ask_which(app, sample)
    _refuse_mixtures(sample, taken_at, values, swap=swap, set_aside=set_aside, cure=humidity_pct is not None)
    _refuse_strays(study=study, as_of=app.as_of_text, what=None if swap else what)
    if reason is None:
        raise click.UsageError("Missing option '--reason'.", ctx=click.get_current_context())
    if swap is not None:
        done = _swap(app, swap, reason, what or "rows")
    elif humidity_pct is not None:
        values = {"dry_through_h": None} if set_aside else values
        done = _cure(app, (str(sample), str(taken_at)), humidity_pct, values, reason)
    else:
        done = _reading(app, (str(sample), str(taken_at)), None if set_aside else values, reason)
    tell(app, done)


def _refuse_strays(**given: str | None) -> None:
    """Refuse options that belong to --find-swaps or --swap."""
    belong = {"study": "--find-swaps", "as_of": "--find-swaps", "what": "--swap"}
    for name, value in given.items():
        if value is not None:
            raise InputError(f"--{name.replace('_', '-')} goes with {belong[name]}")


def _ask_which(app: App, sample: str) -> None:
    from stability.services.taken import readings_listed

    listed = readings_listed(app.records, sample, now=app.now, zone=app.zone)
    raise InputError("which reading? SAMPLE and TAKEN_AT are wanted", hint=listed)


def _refuse_mixtures(
    sample: str | None,
    taken_at: str | None,
    values: dict[str, Any],
    *,
    swap: tuple[str, ...] | None,
    set_aside: bool,
    cure: bool,
) -> None:
    for word in (sample, taken_at):
        if word and word.startswith("-"):
            raise click.NoSuchOption(word, ctx=click.get_current_context())
    if swap is not None and (sample or values or set_aside or cure):
        raise InputError("--swap goes with --reason alone", hint="it exchanges what the two readings say")
    if swap is None and not (sample and taken_at):
        raise InputError("which reading? SAMPLE and TAKEN_AT are wanted", hint="stability correct --help")
    if swap is None and set_aside == bool(values):
        raise InputError("either new values or --set-aside", hint="stability correct --help lists the values")
    wrong = [name for name in values if cure and name not in _OF_CURES] or [
        name for name in values if not cure and name in _ONLY_CURES
    ]
    if wrong:
        raise InputError(f"{', '.join(wrong)} does not belong to a {'drying test' if cure else 'reading'}")


def _swap(app: App, swap: tuple[str, ...], reason: str, what: str) -> tuple[Corrected, ...]:
    from stability.services.correct import Exchange, swap_readings
    from stability.services.taken import reading_taken_at

    first, second = (
        (sample, reading_taken_at(app.records, sample, typed, now=app.now, zone=app.zone))
        for sample, typed in (swap[:2], swap[2:])
    )
    return swap_readings(
        app.records,
        first=first,
        second=second,
        reason=reason,
        person=app.person,
        now=app.now,
        zone=app.zone,
        what=Exchange(what),
    )


def _reading(
    app: App, which: tuple[str, str], values: dict[str, Any] | None, reason: str
) -> tuple[Corrected, ...]:
    from stability.services.correct import correct_reading, set_aside
    from stability.services.taken import reading_taken_at

    sample, typed = which
    act: dict[str, Any] = {
        "sample": sample,
        "taken_at": reading_taken_at(app.records, sample, typed, now=app.now, zone=app.zone),
        "reason": reason,
        "person": app.person,
        "now": app.now,
        "zone": app.zone,
    }
    if values is None:
        return (set_aside(app.records, **act),)
    return (correct_reading(app.records, values=values, **act),)


def _cure(
    app: App, which: tuple[str, str], humidity_pct: float, values: dict[str, Any], reason: str
) -> tuple[Corrected, ...]:
    from stability.services.correct_cure import correct_cure
    from stability.services.taken import cure_taken_at

    sample, typed = which
    taken_at = cure_taken_at(
        app.records, sample, typed, humidity_pct=humidity_pct, now=app.now, zone=app.zone
    )
    done = correct_cure(
        app.records,
        sample=sample,
        taken_at=taken_at,
        humidity_pct=humidity_pct,
        values=values,
        reason=reason,
        person=app.person,
        now=app.now,
    )
    return (done,)


def tell(app: App, done: Sequence[Corrected]) -> None:
    """Say what was corrected, both values."""
    if not app.as_json:
        for one in done:
            say(one.says)
        return
    rows = [
        {"sample": one.sample, "taken_at": one.taken_at, "was": one.was, "now": one.now, "says": one.says}
        for one in done
    ]
    click.echo(app.json_text({"corrections": rows}))
