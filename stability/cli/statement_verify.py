"""`stability statement verify`: check a statement where there is no database."""

from __future__ import annotations

import json
from pathlib import Path

import click

__all__ = ["verify"]

_FILE = click.Path(path_type=Path, dir_okay=False)


@click.command("verify")
@click.argument("file", metavar="FILE", type=_FILE)
@click.option("--signature", type=_FILE, metavar="FILE", help="The signature file; default: FILE.sig.")
@click.option("--key", metavar="FINGERPRINT", help="Of the key that is expected, got by another way.")
@click.option("--notices", type=_FILE, metavar="FILE", help="The latest list of withdrawn statements.")
@click.option("--json", "as_json", is_flag=True, help="Data as JSON on stdout.")
def verify(
    file: Path, *, signature: Path | None, key: str | None, notices: Path | None, as_json: bool
) -> int:
    """Check a statement: every byte, whose signature, and the claim calculated anew from its data.

    No database is needed. Exit code 3 if something does not match, or the statement is out of force.

    Example: stability statement verify ST-01-v1.pdf --key 6668-7aad-f862-bd77-6c8f-c18b-8e9f-8e20
    """
    from stability.board.text import clean
    from stability.services.statement_verify import verify as checked

    found = checked(file, signature=signature, key=key, notices=notices)
    failed = found.failed
    if as_json:
        checks = [{"name": c.name, "verdict": c.verdict.value, "says": c.says} for c in found.checks]
        click.echo(json.dumps({"passed": not failed, "checks": checks}, ensure_ascii=False, indent=1))
    else:
        for check in found.checks:
            click.echo(f"{check.verdict.value:<7} {check.name}: {clean(check.says)}")
        click.echo(_verdict(len(failed), [c.name for c in found.checks if c.verdict == "open"]))
    return 3 if failed else 0


def _verdict(failed: int, left_open: list[str]) -> str:
    if failed:
        return "DO NOT USE: something does not match, or the statement is out of force"
    return "everything matches" + (f"; not checked: {', '.join(left_open)}" if left_open else "")
