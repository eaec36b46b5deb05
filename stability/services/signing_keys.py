"""Keys of people who sign: made by the tool, bound to a person in the log of acts, opened by a passphrase."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import note
from stability.records.people import persons
from stability.records.statements import KEY_MADE, key_owners
from stability.services.faults import typed
from stability.statements.signature import SigningKey, fingerprint, make_key, open_key

__all__ = ["approver", "key_in", "key_made", "owner_of", "passphrase_in", "roles_on_record"]

_LONGEST_FILE = 100_000


def key_made(records: Records, path: Path, passphrase: str, *, person: str, now: datetime) -> str:
    """Make a key for a person, write it to a file that only its owner can read, return its fingerprint.

    Raises
    ------
    InputError
        If the person is not of quality assurance on record, the file is there, or cannot be written.
    """
    approver(roles_on_record(records), person)
    if path.exists():
        raise InputError(
            f"{path} is there already; a key is never overwritten", hint="name a file that is not"
        )
    content, public = make_key(passphrase)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
    except OSError as exc:
        raise InputError(
            f"{path} cannot be written: {exc.strerror or exc}", hint="name a file to write to"
        ) from exc
    with records.writing() as connection:
        details = {"public": public, "fingerprint": fingerprint(public)}
        note(connection, at=now, person=person, verb=KEY_MADE, subject=person, details=details)
    return fingerprint(public)


def roles_on_record(records: Records) -> dict[str, str]:
    """Return who is on record, with their roles."""
    with records.reading() as connection:
        return {row.person: row.role for row in persons(connection)}


def approver(roles: dict[str, str], person: str) -> str:
    """Return the role of a person who may sign.

    Raises
    ------
    InputError
        If the person is not on record, or not of quality assurance.
    """
    if person not in roles:
        raise InputError(
            f"person {typed(person)} is not on record", hint="stability person NAME --role qa registers one"
        )
    if roles[person] != "qa":
        raise InputError(
            f"{typed(person)} is {roles[person]} on record; only a person with the role qa signs",
            hint="the approver signs with the own key",
        )
    return roles[person]


def key_in(path: Path, passphrase: str) -> SigningKey:
    """Return the key in a file.

    Raises
    ------
    InputError
        If it cannot be read, was changed, or the passphrase does not open it.
    """
    return open_key(_read(path, "key"), passphrase)


def passphrase_in(path: Path) -> str:
    """Return the passphrase in a file: its first line.

    Raises
    ------
    InputError
        If it cannot be read, or is no text.
    """
    try:
        return (_read(path, "passphrase").decode("utf-8").splitlines() or [""])[0]
    except UnicodeDecodeError:
        raise InputError(f"passphrase file {path} holds no text") from None


def owner_of(records: Records, key: SigningKey) -> str:
    """Return whose key it is.

    Raises
    ------
    InputError
        If the key was not made in this database.
    """
    with records.reading() as connection:
        owner = key_owners(connection).get(key.public)
    if owner is None:
        raise InputError(
            f"key {fingerprint(key.public)} belongs to nobody on record",
            hint="stability statement key FILE --person NAME makes one",
        )
    return owner


def _read(path: Path, what: str) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(_LONGEST_FILE)
    except OSError as exc:
        raise InputError(f"{what} file {path}: {(exc.strerror or str(exc)).lower()}") from exc
