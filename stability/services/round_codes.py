"""A code as it was scanned or typed with gloves on: which tin it is, or what is wrong with it."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa

from stability.bench.labels import check_character, labelled, verify_label
from stability.errors import InputError
from stability.records.readings import SampleAtBench, sample_at_bench, sample_codes
from stability.services.lookup import nearest

__all__ = ["tin_of_code"]


def tin_of_code(connection: sa.Connection, typed: str, *, at: datetime) -> SampleAtBench:
    """Return the tin of a code, whatever its case and hyphens, with or without a check character added.

    A code on record whose last character is its check character is never taken without it.

    Raises
    ------
    InputError
        If there is no such tin; the line says whether the check character fits, the hint what is near.
    """
    code = typed.strip()
    exact = sample_at_bench(connection, code, at=at)
    if exact is not None:
        return exact
    codes = sample_codes(connection)
    found = [one for one in codes if _bare(one) == _bare(code)]
    if not found:
        # a label may carry one more character than the code on record
        found = [one for one in codes if _has_digits(one) and _bare(labelled(one)) == _bare(code)]
    if len(found) > 1:
        raise InputError(f"{code!r} can be {', '.join(found[:4])}", hint="type it as it stands on the label")
    if found:
        sample = sample_at_bench(connection, found[0], at=at)
        if sample is not None:
            return sample
    raise InputError(_fault(code, codes), hint=_hint(code, codes))


def _fault(code: str, codes: tuple[str, ...]) -> str:
    without = [one for one in codes if verify_label(one) and _bare(one)[:-1] == _bare(code)]
    if without:
        return f"{code!r} lacks its check character, the last one on the label"
    if (
        _has_digits(code)
        and len(_bare(code)) > 1
        and not verify_label(code)
        and any(map(verify_label, codes))
    ):
        return f"{code!r}: the check character does not fit, so one character is wrong or two are exchanged"
    return f"sample {code!r} is not on record"


def _hint(code: str, codes: tuple[str, ...]) -> str:
    return nearest(code, codes) or "scan it again, or read it off the body, not the lid"


def _has_digits(code: str) -> bool:
    try:
        check_character(code)
    except InputError:
        return False
    return True


def _bare(code: str) -> str:
    return "".join(sign for sign in code.upper() if sign.isalnum() or sign == "*")
