"""A laboratory in which statements are written and signed, through the commands; all is invented."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

import stability.app
from stability.cli.edge import run
from tests.fleet import day
from tests.lab import TIN, lab

__all__ = ["ANSWER", "Desk", "desk_in"]

ANSWER = ("--answer", "reach=the claim stays far below the bound")
PASSPHRASE = "open sesame, please"  # noqa: S105 - of a key that is thrown away


@dataclass
class Desk:
    """One laboratory: types command lines at a given day."""

    folder: Path
    patch: pytest.MonkeyPatch
    capture: pytest.CaptureFixture[str]

    def at(self, age_days: float) -> None:
        """Set the clock to an age of the study."""
        begin = stability.app.App.__init__

        def init(app: object, *args: object, **given: object) -> None:
            begin(app, *args, **{"now": day(age_days), **given})

        self.patch.setattr(stability.app.App, "__init__", init)

    def types(self, *arguments: str) -> tuple[int, str, str]:
        """Type a command line: exit code, stdout, stderr."""
        code = run(arguments)
        told = self.capture.readouterr()
        assert "sa" + "fe" not in (told.out + told.err).lower()
        assert "Traceback" not in told.err
        return code, told.out, told.err

    def does(self, *arguments: str) -> str:
        """Type a command line that must succeed."""
        code, out, err = self.types(*arguments)
        assert code == 0, err or out
        return out

    def draft(self, *more: str, file: str = "st.draft", thinner: str = "xylene") -> tuple[int, str, str]:
        """Write a draft as Lena."""
        return self.types(
            "statement", "draft", "S-07", "--thinner", thinner, "--pack", TIN, "--person", "Lena V.",
            "--write", file, *more,
        )  # fmt: skip

    def issue(self, *more: str, file: str = "st.draft", key: str = "tomas.key") -> tuple[int, str, str]:
        """Issue a draft as Tomas."""
        return self.types(
            "statement", "issue", file, "--key", key, "--passphrase-file", "pass", "--out", "out", *more
        )


def desk_in(
    folder: Path, patch: pytest.MonkeyPatch, capture: pytest.CaptureFixture[str], *, made: bool = False
) -> Desk:
    """Return a laboratory with two people on record and the key of one; `made`: there is a database."""
    if not made:
        lab(folder).close()
    patch.chdir(folder)
    patch.setenv("STABILITY_DB", str(folder / "lab.db"))
    patch.setenv("STABILITY_TIME_ZONE", "Europe/Berlin")
    (folder / "pass").write_text(PASSPHRASE + "\n")
    desk = Desk(folder, patch, capture)
    desk.at(114)
    desk.does("person", "Lena V.", "--role", "formulator", "--person", "Lena V.")
    desk.does("person", "Tomas K.", "--role", "qa", "--person", "Lena V.")
    desk.does("statement", "key", "tomas.key", "--passphrase-file", "pass", "--person", "Tomas K.")
    return desk
