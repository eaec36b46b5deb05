"""`stability instrument`: ranges and cups, certificates, checks and their chart, holds, what was touched."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from stability.app import App, parse_instant
from stability.cli.options import show, warn, with_app
from stability.cli.typed import NUMBER, say
from stability.errors import InputError
from stability.services.tables_instruments import KINDS

if TYPE_CHECKING:
    from datetime import datetime

    from stability.services.instruments_file import Range

__all__ = ["command"]

REFUSED = 3
_AT = click.option("--at", metavar="TIME", help="When (ISO 8601, local without an offset); default now.")


@click.group("instrument", no_args_is_help=False)
def command() -> None:
    """Keep instruments: ranges and cups, certificates, checks and their chart, what was measured with them.

    While a check is off, readings with the instrument are held.

    Example: stability instrument check VIS-1 351.2 --oil C-100
    """


@command.command("add")
@with_app(as_json=True, person=True)
@click.argument("name")
@click.option("--kind", type=click.Choice(KINDS), help="What it is; titrator for Karl Fischer.")
@click.option(
    "--spindle",
    "spindles",
    multiple=True,
    metavar="NAME=FACTOR | NAME@RPM=MPAS",
    help="A spindle's factor, or its full scale at a speed, from the manual.",
)
@click.option("--torque-constant", type=NUMBER, help="Full scale = this × spindle factor × 10 000 ÷ rpm.")
@click.option("--speeds", metavar="RPM,RPM", help="The speeds that it has.")
@click.option("--cell", metavar="NAME", help="The small-sample cell that these spindles run in.")
@click.option("--volume", "volume_ml", type=NUMBER, help="What that cell or vessel takes, mL.")
@click.option("--follows", metavar="CUP", help="The standard cup that it is made after, such as 'Ford 4'.")
@click.option("--factor", "cup_factor", type=NUMBER, help="The cup's own calibration factor.")
@click.option("--limit", "limit_pct", type=NUMBER, help="How far a check oil may be off, %.")
@click.option("--tolerance", "tolerance_pct", type=NUMBER, help="How far an as-found value may be off, %.")
@_AT
def add(app: App, /, name: str, **given: Any) -> None:
    """Put the instrument NAME on record, or what its manual says of one that is.

    Example: stability instrument add VIS-2 --kind rotational --torque-constant 1 --spindle RV-3=10
    """
    from stability.services.instruments_file import Facts, add_instrument

    at = _moment(app, given.pop("at"))
    cell, volume_ml = given.pop("cell"), given.pop("volume_ml")
    ranges = tuple(_range(text, cell, volume_ml) for text in given.pop("spindles"))
    if (cell or volume_ml is not None) and not ranges:
        raise InputError("--cell and --volume say where a --spindle runs")
    speeds = tuple(
        _number(text, "--speeds") for text in (given.pop("speeds") or "").split(",") if text.strip()
    )
    kind = given.pop("kind")
    facts = Facts(ranges=ranges, speeds_rpm=speeds, **given)
    add_instrument(app.records, name, facts, kind=kind, person=app.person, at=at, now=app.now)
    _list(app, name)


@command.command("certify")
@with_app(as_json=True, person=True)
@click.argument("name")
@click.option("--due", required=True, metavar="TIME", help="Until when it holds.")
@click.option("--as-found", "as_found_pct", type=NUMBER, help="How far it was found off, %.")
@click.option("--found", "as_found", metavar="TEXT", help="What was found, in the certificate's words.")
@click.option("--certificate", metavar="NUMBER", help="The certificate's number.")
@click.option("--by", "certified_by", metavar="NAME", help="Who certified it.")
@click.option("--tolerance", "tolerance_pct", type=NUMBER, help="How far off is still good, %.")
@click.option("--factor", "cup_factor", type=NUMBER, help="A cup's factor, as certified.")
@click.option("--certified-mm2s", "certified_mm2_s", type=NUMBER, help="Certified oil in a cup, mm²/s.")
@click.option("--efflux", "efflux_s", type=NUMBER, help="Seconds that this oil took.")
@_AT
def certify(app: App, /, name: str, **given: Any) -> None:
    """File a certificate of NAME; what it found off marks the readings since the last good check.

    Example: stability instrument certify VIS-1 --due 2026-06-03 --as-found +0.8 --by "Cal Lab"
    """
    from stability.services.instruments_certify import Certified, certify
    from stability.services.instruments_words import certified_words

    due_at = parse_instant(given.pop("due"), app.zone)
    asked = Certified(at=_moment(app, given.pop("at")), due_at=due_at, **given)
    filed = certify(app.records, name, asked, person=app.person, now=app.now)
    data = {
        "instrument": filed.instrument,
        "at": filed.at,
        "due_at": filed.due_at,
        "as_found_pct": filed.as_found_pct,
        "tolerance_pct": filed.tolerance_pct,
        "found_good": filed.found_good,
        "cup_factor": filed.cup_factor,
    }
    show(app, data, lambda: certified_words(filed, app.zone))
    if not filed.found_good:
        warn("readings since the last good check are conditional")
        warn(f"stability instrument touched {filed.instrument} lists them")


@command.command("oil")
@with_app(person=True)
@click.argument("lot")
@click.option("--certified", "certified_mpas", type=NUMBER, required=True, help="Certified value, mPa·s.")
@click.option("--limit", "limit_pct", type=NUMBER, help="How far a reading of it may be off, %; default 2.")
@click.option("--temp", "temperature_c", type=NUMBER, help="The temperature it is certified at, °C.")
@click.option("--until", metavar="TIME", help="Until when it may be used.")
def oil(app: App, /, lot: str, until: str | None, **given: Any) -> None:
    """Put a LOT of certified check oil on record.

    Example: stability instrument oil C-100 --certified 350 --limit 1.5 --temp 23
    """
    from stability.services.instruments_certify import OilLot, file_oil

    until_at = parse_instant(until, app.zone) if until else None
    file_oil(app.records, OilLot(oil=lot, until=until_at, **given), person=app.person, now=app.now)
    say(f"oil {lot}: {given['certified_mpas']:g} mPa·s")


@command.command("check")
@with_app(as_json=True, person=True)
@click.argument("name")
@click.argument("read_mpas", type=NUMBER)
@click.option("--oil", metavar="LOT", help="The lot of oil that was read; default the last one.")
@click.option("--certified", "certified_mpas", type=NUMBER, help="Its certified value, mPa·s.")
@click.option("--sentinel", metavar="SAMPLE", help="The sentinel sample was read instead.")
@click.option("--expected", "expected_mpas", type=NUMBER, help="What it ought to read; default its forecast.")
@click.option("--operator", metavar="NAME", help="Who measured, if not who enters.")
@_AT
def check(app: App, /, name: str, **given: Any) -> int:
    """Store what NAME read on the check oil or the sentinel; exit code 3 when it is off.

    Example: stability instrument check VIS-1 351.2 --certified 350
    """
    from stability.services.instruments_check import Asked, check_instrument
    from stability.services.instruments_words import checked_lines

    asked = Asked(at=_moment(app, given.pop("at")), **given)
    done = check_instrument(app.records, name, asked, person=app.person, now=app.now)
    data = {
        "instrument": done.instrument,
        "kind": done.check.kind.value,
        "at": done.check.at,
        "expected_mpas": done.check.expected_mpas,
        "read_mpas": done.check.read_mpas,
        "off_pct": done.check.off_pct,
        "limit_pct": done.check.limit_pct,
        "good": done.check.good,
        "signal": done.charted.chart.signal,
        "held": done.hold.says if done.hold else None,
    }
    show(app, data, lambda: "\n".join(checked_lines(done)))
    return 0 if done.check.good else REFUSED


@command.command("override")
@with_app(person=True)
@click.argument("name")
@click.option("--reason", required=True, metavar="TEXT", help="Why readings go on; kept for ever.")
def override(app: App, name: str, reason: str) -> None:
    """Let a held session with NAME go on until its next check; a named person says why.

    Example: stability instrument override VIS-1 --reason "oil bottle was cold" --person "Lena V."
    """
    from stability.services.instruments_check import override_hold

    hold = override_hold(app.records, name, reason=reason, person=app.person, now=app.now)
    say(f"{name}: goes on by {app.person} until its next check, although {hold.says}")
    warn("its readings stay conditional until they are released (stability release)")


@command.command("chart")
@with_app(as_json=True, as_of=True)
@click.argument("name")
@click.option("--sentinel", is_flag=True, help="The checks on the sentinel sample.")
def chart(app: App, name: str, *, sentinel: bool) -> None:
    """Draw the control chart of NAME since its last certificate: each check, EWMA, CUSUM."""
    from stability.services.instruments_check import CheckKind, chart_of
    from stability.services.instruments_words import chart_lines

    kind = CheckKind.SENTINEL if sentinel else CheckKind.OIL
    found = chart_of(app.records, name, as_of=app.as_of, kind=kind)
    rows = zip(found.checks, found.chart.ewma_pct, found.chart.cusum_high, found.chart.cusum_low, strict=True)
    data = {
        "instrument": found.instrument,
        "kind": found.kind.value,
        "ewma_limit_pct": found.chart.ewma_limit_pct,
        "cusum_decision": found.chart.decision,
        "signal": found.chart.signal,
        "checks": [
            {
                "at": each.at,
                "expected_mpas": each.expected_mpas,
                "read_mpas": each.read_mpas,
                "off_pct": each.off_pct,
                "good": each.good,
                "ewma_pct": average,
                "cusum_high": high,
                "cusum_low": low,
            }
            for each, average, high, low in rows
        ],
    }
    show(app, data, lambda: "\n".join(chart_lines(found, app.zone)))


@command.command("touched")
@with_app(as_json=True, as_of=True)
@click.argument("name")
def touched(app: App, name: str) -> None:
    """List readings, forecasts and statements that rest on NAME since it could not be believed."""
    from stability.cli.release import impact_data
    from stability.services.instruments_words import touched_lines
    from stability.services.release import Wanted, impact

    found = impact(app.records, Wanted(instrument=name), as_of=app.as_of)
    show(app, impact_data(found), lambda: "\n".join(touched_lines(found, app.zone)))


@command.command("list")
@with_app(as_json=True, as_of=True)
def listed(app: App) -> None:
    """List the instruments: certificate, last check, what is held, what waits for a release."""
    _list(app, None)


def _list(app: App, name: str | None) -> None:
    from stability.services.instruments_list import instruments_listed
    from stability.services.instruments_words import list_lines

    lines = instruments_listed(app.records, as_of=app.as_of)
    if name is not None:
        lines = tuple(line for line in lines if line.card.instrument.casefold() == name.strip().casefold())
    data = {
        "instruments": [
            {
                "instrument": line.card.instrument,
                "kind": line.card.kind,
                "says": line.words,
                "due_at": line.due_at,
                "lapsed": line.lapsed,
                "last_check_at": line.last_check.at if line.last_check else None,
                "last_check_off_pct": line.last_check.off_pct if line.last_check else None,
                "held": line.held,
                "readings": line.readings,
                "conditional_readings": line.conditional,
            }
            for line in lines
        ]
    }
    show(app, data, lambda: "\n".join(list_lines(lines, app.zone)) or "no instrument on record yet")


def _moment(app: App, text: str | None) -> datetime:
    return parse_instant(text, app.zone) if text else app.now.replace(microsecond=0)


def _range(text: str, cell: str | None, volume_ml: float | None) -> Range:
    """Return a spindle as typed: NAME=FACTOR, or NAME@RPM=MPAS."""
    from stability.services.instruments_file import Range

    name, equals, number = text.rpartition("=")
    spindle, at_speed, speed = name.rpartition("@")
    if not equals or not name:
        raise InputError(f"--spindle {text!r} is not NAME=FACTOR or NAME@RPM=MPAS")
    value = _number(number, "--spindle")
    if at_speed:
        rpm = _number(speed, "--spindle")
        return Range(
            spindle=spindle.strip(), speed_rpm=rpm, full_scale_mpas=value, cell=cell, volume_ml=volume_ml
        )
    return Range(spindle=name.strip(), spindle_factor=value, cell=cell, volume_ml=volume_ml)


def _number(text: str, option: str) -> float:
    from stability.services.entry import parse_number

    try:
        return parse_number(text)
    except ValueError as exc:
        raise InputError(f"{option}: {exc}") from None
