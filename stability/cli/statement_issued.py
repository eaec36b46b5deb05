"""`stability statement` after the draft: key, issue, list, write, receive, withdraw, notices."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import click

from stability.app import App
from stability.cli.options import show, with_app

__all__ = ["issue", "key", "list_", "notices", "receive", "withdraw", "write"]

_FILE = click.Path(path_type=Path, dir_okay=False)
_FOLDER = click.Path(path_type=Path, file_okay=False)
_Decorated = Callable[..., Any]


def _with_key(function: _Decorated) -> _Decorated:
    secret = click.option(
        "--passphrase-file", "secret", type=_FILE, metavar="FILE", help="Its first line; else you are asked."
    )
    file = click.option("--key", "key_file", type=_FILE, required=True, metavar="FILE", help="Your key.")
    return file(secret(function))


def _passphrase(secret: Path | None, *, new: bool = False) -> str:
    from stability.services.signing_keys import passphrase_in

    if secret is not None:
        return passphrase_in(secret)
    return str(click.prompt("Passphrase", hide_input=True, confirmation_prompt=new, err=True))


@click.command("key")
@click.argument("file", metavar="FILE", type=_FILE)
@with_app(as_json=True, person=True)
@click.option(
    "--passphrase-file", "secret", type=_FILE, metavar="FILE", help="Its first line; else you are asked."
)
def key(app: App, file: Path, secret: Path | None) -> None:
    """Make your key for signing; the file is useless without its passphrase.

    Tell the fingerprint to those who receive statements, by another way than the statements.

    Example: stability statement key tomas.key --person "Tomas K."
    """
    from stability.services.signing_keys import key_made

    told = key_made(app.records, file, _passphrase(secret, new=True), person=app.person, now=app.now)
    data = {"file": file, "person": app.person, "fingerprint": told}
    show(app, data, lambda: f"key of {app.person} written to {file}\nfingerprint {told}")


@click.command("issue")
@click.argument("draft", metavar="DRAFT", type=_FILE)
@with_app(as_json=True)
@_with_key
@click.option("--to", "receivers", multiple=True, metavar="NAME", help="Who receives it; may be repeated.")
@click.option("--out", type=_FOLDER, metavar="FOLDER", help="Where PDF and signature go.")
def issue(app: App, draft: Path, **given: Any) -> None:
    """Approve, sign and issue a draft that somebody else wrote; looked at anew with what is known now.

    Example: stability statement issue ST-01.draft --key tomas.key --to "Buyer Ltd"
    """
    from stability.services.signing_keys import key_in
    from stability.services.statement_after import letters_to, told_by_mail
    from stability.services.statement_issue import issue as issued

    content = _read(draft)
    opened = key_in(given["key_file"], _passphrase(given["secret"]))
    made = issued(
        app.records, content, opened, receivers=given["receivers"], now=app.now, settings=app.settings
    )
    data, lines = _handed_out(app, made, given["out"])
    for old in made.replaced:
        letters = letters_to(
            old, reason=f"replaced by version {made.row.version}", at=app.now, zone_name=app.zone.key
        )
        told_by_mail(app.records, old, letters, at=app.now, settings=app.settings)
        lines += [f"replaces {old.name}; to be told: {', '.join(old.recipients) or 'nobody on record'}"]
        lines += _letters_written(app, letters, old.name, given["out"])
    show(app, {**data, "replaces": [old.name for old in made.replaced]}, lambda: "\n".join(lines))


@click.command("write")
@click.argument("number")
@with_app(as_json=True)
@click.option("--version", type=click.IntRange(1), metavar="N", help="Default: the latest.")
@click.option("--out", type=_FOLDER, metavar="FOLDER", help="Where PDF and signature go.")
def write(app: App, number: str, version: int | None, out: Path | None) -> None:
    """Write PDF and signature of a statement on record once more, byte for byte.

    Example: stability statement write ST-01
    """
    from stability.services.statement_paper import paper_named

    data, lines = _handed_out(app, paper_named(app.records, number, version, now=app.now), out)
    show(app, data, lambda: "\n".join(lines))


@click.command("list")
@with_app(as_json=True, as_of=True)
def list_(app: App) -> None:
    """List all statements: months, how things stand, who received them.

    Example: stability statement list
    """
    from stability.board.text import clean
    from stability.services.statement_paper import listed

    rows = listed(app.records, as_of=app.as_of)
    data = {"statements": [_plain(row) for row in rows]}
    lines = [
        clean(f"{r.name:<12} {r.months:>2} months  {r.step:<10} {', '.join(r.recipients) or '–'}")
        for r in rows
    ]
    show(app, data, lambda: "\n".join(lines) or "no statement on record")


@click.command("receive")
@click.argument("number")
@click.argument("receivers", metavar="NAME...", nargs=-1, required=True)
@with_app(as_json=True, person=True)
def receive(app: App, number: str, receivers: tuple[str, ...]) -> None:
    """Record who received a statement; a withdrawal tells each of them.

    Example: stability statement receive ST-01 "Buyer Ltd" stores@buyer.example
    """
    from stability.services.statement_after import receive as received

    row, new = received(app.records, number, receivers, person=app.person, now=app.now)
    show(app, {**_plain(row), "new": list(new)}, lambda: f"{row.name}: {', '.join(row.recipients)}")


@click.command("withdraw")
@click.argument("number")
@with_app(as_json=True, person=True)
@click.option("--reason", required=True, metavar="TEXT", help="Why; every recipient reads it.")
@click.option("--out", type=_FOLDER, metavar="FOLDER", help="Where the notices go.")
def withdraw(app: App, number: str, reason: str, out: Path | None) -> None:
    """Withdraw a statement, and write the notice for each of its recipients.

    Example: stability statement withdraw ST-02 --reason "lot H-0442 reaches its limit earlier"
    """
    from stability.services.statement_after import letters_to, told_by_mail
    from stability.services.statement_after import withdraw as withdrawn

    row = withdrawn(app.records, number, reason=reason, person=app.person, now=app.now)
    letters = letters_to(row, reason=reason, at=app.now, zone_name=app.zone.key)
    mailed = told_by_mail(app.records, row, letters, at=app.now, settings=app.settings)
    lines = [f"{row.name} withdrawn; {len(letters)} to be told, {mailed} by mail"]
    lines += _letters_written(app, letters, row.name, out)
    show(app, {**_plain(row), "mailed": mailed}, lambda: "\n".join(lines))


@click.command("notices")
@click.argument("file", metavar="FILE", type=_FILE)
@with_app(as_json=True)
@_with_key
def notices(app: App, file: Path, key_file: Path, secret: Path | None) -> None:
    """Write the signed list of statements that are out of force, for checks without a database.

    Example: stability statement notices notices.json --key tomas.key
    """
    from stability.services.signing_keys import key_in, owner_of
    from stability.services.statement_after import notices_signed
    from stability.services.whole_file import write_whole

    opened = key_in(key_file, _passphrase(secret))
    owner_of(app.records, opened)
    content, count = notices_signed(app.records, opened, now=app.now)
    write_whole(file, content)
    show(
        app,
        {"file": file, "notices": count},
        lambda: f"{count} notice{'' if count == 1 else 's'} written to {file}",
    )


def _handed_out(app: App, made: Any, out: Path | None) -> tuple[dict[str, Any], list[str]]:
    from stability.services.whole_file import write_whole

    file = (out or app.settings.output) / made.file_name
    write_whole(file, made.pdf)
    write_whole(file.with_name(f"{file.name}.sig"), made.sidecar)
    row = made.row
    lines = [
        f"{row.name}: {row.months} {'month' if row.months == 1 else 'months'}, data {row.digest}",
        f"written to {file} and {file.name}.sig; they belong together",
    ]
    return {**_plain(row), "file": file}, lines


def _letters_written(app: App, letters: Mapping[str, str], name: str, out: Path | None) -> list[str]:
    from stability.services.whole_file import write_whole

    lines = []
    for at, (receiver, text) in enumerate(letters.items(), start=1):
        file = (out or app.settings.output) / f"{name.replace(' ', '-')}-notice-{at}.txt"
        write_whole(file, text.encode("utf-8"))
        lines.append(f"notice for {receiver}: {file}")
    return lines


def _plain(row: Any) -> dict[str, Any]:
    names = ("number", "version", "months", "made_at", "author", "digest", "step")
    return {**{name: getattr(row, name) for name in names}, "recipients": list(row.recipients)}


def _read(path: Path) -> bytes:
    from stability.errors import InputError

    try:
        return path.read_bytes()
    except OSError as exc:
        raise InputError(f"draft {path}: {(exc.strerror or str(exc)).lower()}") from exc
