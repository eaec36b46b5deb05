"""Files and folders named on a command line, as the sources of an import."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from stability.errors import InputError
from stability.services.sources import Source

__all__ = ["sources_of"]

_TAKEN = (".csv", ".xlsx", ".xlsm", ".toml")


def sources_of(paths: Sequence[Path]) -> list[Source]:
    """Return the files named, and those of the folders named that can be tables or studies.

    Raises
    ------
    InputError
        If one is missing or cannot be read, or a folder holds none; one line each.
    """
    faults: list[str] = []
    found: dict[Path, Source] = {}
    for path in paths:
        files = list(_files(path, faults))
        for file, name in files:
            try:
                found.setdefault(file.resolve(), Source(name, file.read_bytes()))
            except OSError as exc:
                faults.append(
                    f"{file}: {(exc.strerror or str(exc)).lower()}; expected a file that can be read"
                )
    if faults:
        raise InputError(*faults, hint="name CSV, XLSX or TOML files, or folders that hold them")
    return list(found.values())


def _files(path: Path, faults: list[str]) -> Iterator[tuple[Path, str]]:
    if not path.is_dir():
        yield path, path.name
        return
    some = False
    for file in sorted(path.rglob("*")):
        inside = file.relative_to(path)
        # the settings file, and how foreign sheets are read, lie beside the tables of many a laboratory
        ours = file.name == "stability.toml" or "mappings" in inside.parts[:-1]
        hidden = ours or any(part.startswith((".", "~$")) for part in inside.parts)
        if hidden or file.suffix.lower() not in _TAKEN or not file.is_file():
            continue
        some = True
        yield file, str(inside)
    if not some:
        faults.append(f"{path}: holds no CSV, XLSX or TOML file; expected at least one")
