"""`stability correct --find-swaps`: what seems exchanged, and on a terminal the question."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from stability.app import App
from stability.cli.correct import tell
from stability.cli.options import warn
from stability.cli.typed import say

if TYPE_CHECKING:
    from stability.services.swaps import Proposal, Side

__all__ = ["find_and_ask"]


def find_and_ask(app: App, study: str | None, reason: str | None) -> None:
    """List the proposals; where somebody sits at the terminal, ask of each whether it is so."""
    from stability.services.swaps import find_swaps

    found = find_swaps(app.records, as_of=app.as_of, settings=app.settings, study=study)
    if app.as_json:
        click.echo(app.json_text({"as_of": app.as_of, "swaps": [_data(proposal) for proposal in found]}))
        return
    if not found:
        say("no two readings seem exchanged")
    asking = sys.stdin.isatty() and sys.stderr.isatty() and app.as_of_text is None
    for proposal in found:
        _show(proposal, asking=asking)
        if asking:
            _ask(app, proposal, reason)


def _show(proposal: Proposal, *, asking: bool) -> None:
    say(proposal.says)
    for side in (proposal.first, proposal.second):
        say(f"  {side.says}")
    if proposal.rivals:
        say(f"  nearly as likely with {', '.join(proposal.rivals)}")
    if not asking:
        say(f"  {proposal.command}")


def _ask(app: App, proposal: Proposal, reason: str | None) -> None:
    from stability.services.correct import swap_readings

    if not click.confirm("exchange them? both values stay on record", default=False, err=True):
        return
    because = reason or click.prompt("how you know", err=True)
    done = swap_readings(
        app.records,
        first=(proposal.first.sample, proposal.first.taken_at),
        second=(proposal.second.sample, proposal.second.taken_at),
        reason=because,
        person=app.person,
        now=app.now,
        zone=app.zone,
        what=proposal.what,
    )
    warn("exchanged by two linked corrections:")
    tell(app, done)


def _data(proposal: Proposal) -> dict[str, Any]:
    sides: Sequence[Side] = (proposal.first, proposal.second)
    return {
        "what": proposal.what.value,
        "readings": [
            {
                "sample": side.sample,
                "taken_at": side.taken_at,
                "viscosity_mpas": side.viscosity_mpas,
                "expected_low_mpas": side.expected_low_mpas,
                "expected_high_mpas": side.expected_high_mpas,
                "mass_g": side.mass_g,
            }
            for side in sides
        ],
        "ln_likelihood_ratio": proposal.ln_ratio,
        "likelihood": proposal.likelihood,
        "rivals": list(proposal.rivals),
        "says": proposal.says,
        "command": proposal.command,
    }
