"""`stability log`: one reading at the bench, echoed in words."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from stability.app import App, parse_instant
from stability.cli.edge import one_line
from stability.cli.options import warn, with_app
from stability.cli.typed import NUMBER, caution, say
from stability.clock import now_utc
from stability.errors import InputError

if TYPE_CHECKING:
    from stability.services.entry import ReadingEntry
    from stability.services.record import Doubt, Logged, OnDoubt, Reply

__all__ = ["command"]

_LONGEST_REASON = 500
_DISPOSAL_GRADE = 3


# A negative number would be taken for an option; it shall be refused as the number that it is.
@click.command("log", context_settings={"ignore_unknown_options": True})
@with_app(as_json=True, person=True)
@click.argument("sample", required=False)
@click.argument("value", required=False)
@click.option(
    "--at", metavar="TIME", help="When it was taken (ISO 8601, local without an offset); default now."
)
@click.option("--temp", "temperature_c", type=NUMBER, help="Temperature in the liquid, °C.")
@click.option("--grade", "gel_grade", type=click.IntRange(0, 5), help="Gel grade, 0 to 5.")
@click.option("--instrument", help="Instrument as on record.")
@click.option("--spindle", help="Spindle.")
@click.option("--speed", "speed_rpm", type=NUMBER, help="Speed, rpm.")
@click.option("--torque", "torque_pct", type=NUMBER, help="Torque, % of full scale.")
@click.option("--cup", help="Flow cup, for example 'ISO 4'.")
@click.option("--efflux", "efflux_s", type=NUMBER, help="Efflux time, s.")
@click.option("--density", "density_g_ml", type=NUMBER, help="Density, g/mL.")
@click.option("--mass", "mass_g", type=NUMBER, help="Gross mass of the tin, g.")
@click.option("--appearance", metavar="TEXT", help="What it looks like.")
@click.option("--photo", metavar="NAME", help="File name or number of the photo.")
@click.option("--operator", metavar="NAME", help="Who measured, if not who enters.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@click.option(
    "--keep", "keep_reason", metavar="REASON", help="Keep the reading although it is doubted, and why."
)
@click.option("--strict", is_flag=True, help="Do not store a doubted reading (exit code 2).")
@click.option("--round", "guided", is_flag=True, help="Walk today's list and ask for each tin.")
@click.option("--store", metavar="STORE", help="With --round: only the tins of this store.")
def command(app: App, value: str | None, at: str | None, guided: bool, **given: Any) -> None:
    """Log a reading of SAMPLE: its viscosity VALUE in mPa·s (>50000 for over-range), torque, cup or grade.

    A doubted reading asks on a terminal; elsewhere it is stored and the doubt is said. --round takes short
    answers tin by tin, such as "345 41.2 23.1C g0"; ? shows them.

    Example: stability log 0417-K 398 --temp 23.1 --grade 0

    Example: stability log --round
    """
    store = given.pop("store")
    if guided:
        _round(app, store, (value, at, *given.values()))
        return
    _refuse_options((given["sample"], value))
    if given["sample"] is None or store is not None:
        missing = "Missing argument 'SAMPLE'." if store is None else "--store goes with --round."
        raise click.UsageError(missing, ctx=click.get_current_context())
    from stability.services.entry import ReadingEntry

    keep_reason, strict = given.pop("keep_reason"), given.pop("strict")
    if keep_reason is not None and not 0 < len(keep_reason.strip()) <= _LONGEST_REASON:
        raise InputError(f"--keep wants a reason of 1 to {_LONGEST_REASON} characters")
    taken_at = parse_instant(at, app.zone) if at else None
    entry = ReadingEntry(viscosity_mpas=value, taken_at=taken_at, **given)
    logged = _log(app, entry, _on_doubt(app, entry, keep_reason, strict))
    if strict and logged.answer is not None and not logged.stored:
        raise InputError(
            *(f"sample {entry.sample}: {doubt.sentence}" for doubt in logged.doubts),
            hint="measure again, or --keep REASON; the attempt is in the event log",
        )
    _tell(app, entry, logged)
    if logged.answer is None and logged.stored and keep_reason is not None:
        warn("nothing was doubted: the reason was not needed and is not stored")
    if logged.stored and (entry.gel_grade or 0) >= _DISPOSAL_GRADE and _somebody_sits_there():
        _acknowledged(app, entry.sample, logged.cautions)


def _acknowledged(app: App, sample: str, cautions: tuple[str, ...]) -> None:
    """Wait until the disposal card was read; the reading stands in any case."""
    from stability.services.round import Act, acknowledge

    click.prompt("type ok when you have read this", type=click.Choice(["ok"]), show_choices=False, err=True)
    acknowledge(app.records, sample, Act.DISPOSE, cautions, person=app.person, now=now_utc())


def _round(app: App, store: str | None, other: tuple[Any, ...]) -> None:
    if app.as_json or any(given not in (None, False) for given in other):
        raise click.UsageError("--round asks for all itself; only --store, --person and --db go with it.")
    from stability.cli.round import walk

    walk(app, store=store)


def _refuse_options(words: tuple[str | None, ...]) -> None:
    for word in words:
        if word and word[0] == "-" and not word[1:2].isdigit() and word[1:2] != ".":
            raise click.NoSuchOption(word, ctx=click.get_current_context())


def _log(app: App, entry: ReadingEntry, on_doubt: OnDoubt) -> Logged:
    from stability.services.record import Answer, log_reading

    while True:
        logged = log_reading(
            app.records, entry, person=app.person, now=app.now, zone=app.zone, on_doubt=on_doubt
        )
        if logged.answer is not Answer.REPEAT:
            return logged
        entry = _read_again(entry)


def _read_again(entry: ReadingEntry) -> ReadingEntry:
    from dataclasses import replace

    again = click.prompt("viscosity read again, mPa·s", value_proc=_viscosity, err=True)
    degrees = entry.temperature_c
    if degrees is not None:
        degrees = click.prompt("temperature in the liquid, °C", type=NUMBER, err=True)
    return replace(entry, viscosity_mpas=again, temperature_c=degrees, torque_pct=None, efflux_s=None)


def _viscosity(typed: str) -> str:
    from stability.services.entry import parse_viscosity

    try:
        parse_viscosity(typed)
    except InputError as exc:
        raise click.UsageError(str(exc)) from None  # the prompt asks again
    return typed


def _on_doubt(app: App, entry: ReadingEntry, keep_reason: str | None, strict: bool) -> OnDoubt:
    from stability.services.record import Answer, Reply, keep, note_refusal, refuse

    if keep_reason is not None:
        return keep(keep_reason.strip())
    if strict:
        return refuse
    if not _somebody_sits_there():
        return keep()

    def ask(echo: str, doubts: tuple[Doubt, ...]) -> Reply:
        warn(one_line(echo))
        _doubt(doubts)
        try:
            answer = click.prompt(
                "keep, repeat or undo", type=click.Choice([a.value for a in Answer]), err=True
            )
            reason = click.prompt("why it stays", err=True) if answer == Answer.KEEP else None
        except (click.Abort, OSError):  # stopped by hand, or the terminal is gone
            because = f"stopped at the question: {doubts[0].sentence}"
            note_refusal(app.records, entry, because=because, person=app.person, now=app.now)
            raise click.Abort from None
        return Reply(Answer(answer), reason[:_LONGEST_REASON] if reason else None)

    return ask


def _somebody_sits_there() -> bool:
    return sys.stdin.isatty() and sys.stderr.isatty()


def _doubt(doubts: tuple[Doubt, ...]) -> None:
    for doubt in doubts:
        warn(f"doubt: {one_line(doubt.sentence)}")


def _tell(app: App, entry: ReadingEntry, logged: Logged) -> None:
    if app.as_json:
        click.echo(app.json_text(_data(entry, logged)))
    else:
        say(logged.echo)
    if logged.already:
        warn("this reading was stored before; nothing was written")
    elif not logged.stored:
        warn("not stored; the attempt is in the event log")
    elif not _somebody_sits_there():
        _doubt(logged.doubts)
    if logged.advice:
        warn(logged.advice)
    caution(logged.cautions)


def _data(entry: ReadingEntry, logged: Logged) -> dict[str, Any]:
    return {
        "sample": entry.sample,
        "taken_at": logged.taken_at,
        "viscosity_mpas": logged.viscosity_mpas,
        "gel_grade": entry.gel_grade,
        "stored": logged.stored,
        "already_stored": logged.already,
        "says": logged.echo,
        "doubts": [{"kind": doubt.kind.value, "says": doubt.sentence} for doubt in logged.doubts],
        "cautions": list(logged.cautions),
    }
