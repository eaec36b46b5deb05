"""Sample codes with a check character: ISO/IEC 7064, system MOD 37,2.

One character, 0–9, A–Z or *, catches every single wrong character and every swap of two neighbours. It is
optional on codes from elsewhere.
"""

from __future__ import annotations

from stability.errors import InputError

__all__ = ["check_character", "labelled", "verify_label"]

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
MODULUS = 37
_PAYLOAD = frozenset(ALPHABET[:36])


def check_character(code: str) -> str:
    """Return the check character of a code; hyphens, blanks and other separators do not count.

    >>> check_character("0417")
    'P'
    """
    digits = _digits(code)
    if not digits:
        raise InputError(f"a sample code needs letters or digits, got {code!r}")
    remainder = 0
    for sign in digits:
        remainder = (remainder + ALPHABET.index(sign)) * 2 % MODULUS
    return ALPHABET[(1 - remainder) % MODULUS]


def labelled(code: str) -> str:
    """Return the code with its check character, as printed on a label."""
    return f"{code}-{check_character(code)}"


def verify_label(text: str) -> bool:
    """Say whether the last character of a code is the check character of what stands before it."""
    typed = text.strip().upper()
    if len(typed) < 2 or typed[-1] not in ALPHABET:
        return False
    rest = typed[:-1]
    return bool(_digits(rest)) and check_character(rest) == typed[-1]


def _digits(code: str) -> str:
    return "".join(sign for sign in code.upper() if sign in _PAYLOAD)
