"""`stability person`: register somebody, change a role, or list who is on record."""

from __future__ import annotations

import click

from stability.app import App
from stability.cli.options import show, with_app

__all__ = ["command"]


@click.command("person")
@click.argument("name", required=False)
@with_app(as_json=True, person=True)
@click.option("--role", type=click.Choice(("assistant", "formulator", "qa")), help="What the person may do.")
@click.option("--mail", metavar="ADDRESS", help="Where alerts go; an empty text takes it away.")
@click.option("--stand-in", metavar="NAME", help="Who is told when this person does not acknowledge.")
@click.option("--account", metavar="LOGIN", help="The operating-system account that this person works under.")
def command(
    app: App,
    name: str | None,
    *,
    role: str | None,
    mail: str | None,
    stand_in: str | None,
    account: str | None,
) -> None:
    """Register a person, or change what is given; without NAME, list everybody.

    Example: stability person "Lena V." --role formulator --mail lena.v@lab.example
    """
    from stability.services.people import file_person, people_listed

    if name is None:
        rows = people_listed(app.records)
        data = {"people": [_plain(row) for row in rows]}
        show(app, data, lambda: "\n".join(_line(row) for row in rows) or "nobody on record yet")
        return
    asked = {"person": name, "role": role, "mail": mail, "stand_in": stand_in, "account": account}
    filed = file_person(app.records, asked, person=app.person, now=app.now)
    what = "registered" if filed.new else "changed" if filed.changes else "unchanged"
    show(app, {"person": _plain(filed.row), "did": what}, lambda: f"{what}: {_line(filed.row)}")


def _plain(row: object) -> dict[str, str | None]:
    return {key: getattr(row, key) for key in ("person", "role", "mail", "stand_in", "account")}


def _line(row: object) -> str:
    told = _plain(row)
    rest = [
        told["mail"],
        told["stand_in"] and f"stand-in {told['stand_in']}",
        told["account"] and f"account {told['account']}",
    ]
    return ", ".join([f"{told['person']} ({told['role']})", *(text for text in rest if text)])
