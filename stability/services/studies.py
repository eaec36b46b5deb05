"""Filing studies: a text that asks something new is a new version, the old one is kept.

A first line "# known since TIME" (as `stability export` writes it) dates a version brought from elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import note
from stability.records.history import StudyFacts, studies
from stability.records.intake import VersionOnRecord, insert_version, names_of, versions_of
from stability.records.tables.bench import Store
from stability.services.faults import Faults, typed
from stability.services.instants import iso
from stability.services.sources import Source
from stability.services.study_file import StudyWanted, parse_study

__all__ = [
    "StudyFiled",
    "StudyText",
    "file_study",
    "studies_listed",
    "study_text",
    "take_studies",
    "text_of",
]

_UTC_ZONE = ZoneInfo("UTC")
_OLDER = re.compile(r"\.v(\d+)(?:\.toml)?$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class StudyFiled:
    """What became of a study file; `missing_stores` are planned for and not on record yet."""

    code: str
    version: int
    changed: bool
    missing_stores: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StudyText:
    """A study file that could be read; `older` is N for a file named CODE.vN.toml."""

    name: str
    wanted: StudyWanted
    older: int | None
    zone: ZoneInfo


def file_study(
    records: Records,
    text: str,
    *,
    person: str,
    now: datetime,
    zone: ZoneInfo = _UTC_ZONE,
    name: str = "study",
) -> StudyFiled:
    """File one study file.

    Raises
    ------
    InputError
        If the text is not a study; one line per fault, nothing was written.
    """
    faults = Faults(hint="nothing was written; see the README for a study file")
    study = study_text(text, name=name, zone=zone, faults=faults)
    faults.raise_if_any()
    assert study is not None  # noqa: S101  # no fault means a study
    with records.writing() as connection:
        (filed,) = take_studies(connection, [study], person=person, now=now, faults=faults)
        faults.raise_if_any()
        if filed.changed:
            note(
                connection,
                at=now,
                person=person,
                verb="filed study",
                subject=filed.code,
                details={"version": filed.version},
            )
    return filed


def study_text(text: str, *, name: str, zone: ZoneInfo, faults: Faults) -> StudyText | None:
    """Return a study file as read, or None after its faults were told."""
    wanted = parse_study(text, name=name, zone=zone, faults=faults)
    if wanted is None:
        return None
    older = _OLDER.search(name)
    return StudyText(name, wanted, int(older[1]) if older else None, zone)


def take_studies(
    connection: sa.Connection, texts: Sequence[StudyText], *, person: str, now: datetime, faults: Faults
) -> list[StudyFiled]:
    """File studies, older versions first; the caller owns the transaction and notes the act."""
    stores = names_of(connection, Store, "store")
    filed = []
    for study in sorted(texts, key=lambda s: (s.wanted.code, s.older is None, s.older or 0)):
        missing = tuple(sorted({store for store, _, _ in study.wanted.plan} - set(stores)))
        version, changed = _take(connection, study, person=person, now=now, faults=faults)
        filed.append(StudyFiled(study.wanted.code, version, changed, missing))
    return filed


def _take(
    connection: sa.Connection, study: StudyText, *, person: str, now: datetime, faults: Faults
) -> tuple[int, bool]:
    wanted = study.wanted
    stored = versions_of(connection, wanted.code)
    if study.older is not None and study.older <= len(stored):
        if _as_stored(stored[study.older - 1], study.zone) != wanted:
            faults.add(
                f"{study.name}: version {study.older} of study {typed(wanted.code)} on record asks something "
                "else; expected the same text",
                hint="give the file another name to file it as the newest version",
            )
        return study.older, False
    if stored and _as_stored(stored[-1], study.zone) == wanted:
        return stored[-1].version, False
    known_since = _known_since(study, stored, now, faults)
    version = len(stored) + 1
    insert_version(
        connection,
        wanted.code,
        {
            "version": version,
            "title": wanted.title,
            "target_life_days": wanted.target_life_days,
            "storage_c": wanted.storage_c,
            "owner": wanted.owner,
            "closed_at": wanted.closed_at,
            "source": wanted.source,
            "entered_at": known_since,
            "entered_by": person,
        },
        limits=wanted.limits,
        plan=wanted.plan,
    )
    return version, True


def _known_since(
    study: StudyText, stored: Sequence[VersionOnRecord], now: datetime, faults: Faults
) -> datetime:
    """Return since when a new version counts: its stamp, unless it is the stamp of the version before."""
    stamp = study.wanted.known_since
    if stamp is None or (stored and stamp <= stored[-1].entered_at):
        return now
    if stamp > now:
        faults.add(
            f"{study.name} line 1: known since {iso(stamp)} lies in the future; expected a time until now"
        )
    return stamp


def _as_stored(version: VersionOnRecord, zone: ZoneInfo) -> StudyWanted | None:
    # What was filed under older rules may fail today's; then it differs from whatever comes.
    return parse_study(version.source, name="", zone=zone, faults=Faults())


def text_of(source: Source) -> str:
    """Return a study file's text.

    Raises
    ------
    InputError
        If it is not UTF-8.
    """
    try:
        return source.content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            f"{source.name}: is not UTF-8; expected a TOML study file in UTF-8", hint="save it as UTF-8"
        ) from None


def studies_listed(records: Records, *, as_of: datetime) -> tuple[StudyFacts, ...]:
    """Return the studies on record, each in the version that counted."""
    with records.reading() as connection:
        return studies(connection, as_of=as_of)
