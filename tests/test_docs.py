"""The documents say what the program does: every command and setting is in them, and their folders exist."""

from __future__ import annotations

import importlib
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import click
import pytest

from stability.cli.group import COMMANDS
from stability.settings import example

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")


def _command(name: str) -> click.Command:
    module = importlib.import_module(f"stability.cli.{'bring' if name == 'import' else name}")
    command = module.command
    assert isinstance(command, click.Command)
    return command


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_has_help_and_stands_in_the_readme(name: str) -> None:
    command = _command(name)
    assert command.help, f"{name} has no help text"
    assert f"`{name}`" in README


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_option_of_a_command_says_what_it_does(name: str) -> None:
    commands = [_command(name)]
    if isinstance(commands[0], click.Group):
        commands += list(commands[0].commands.values())
    for command in commands:
        for parameter in command.params:
            if isinstance(parameter, click.Option) and not parameter.hidden:
                assert parameter.help, f"{name}: {parameter.opts} has no help"


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_takes_a_database(name: str) -> None:
    command = _command(name)
    inner = list(command.commands.values()) if isinstance(command, click.Group) else [command]
    for each in inner:
        if (name, each.name) == ("statement", "verify"):
            continue  # it is for those who have none
        assert any("--db" in p.opts for p in each.params), f"{name} does not take --db"


def test_the_example_settings_are_those_of_the_program() -> None:
    assert (ROOT / "config" / "stability.example.toml").read_text("utf-8") == example()


def test_every_folder_named_in_the_house_exists() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    house = text.split("## The house")[1].split("## Running")[0]
    for name in re.findall(r"`([a-z]+(?:/|\.py))`", house):
        assert (ROOT / "stability" / name).exists(), name


def test_nothing_in_the_program_calls_a_thing_free_of_danger() -> None:
    word = "sa" + "fe"
    pattern = re.compile(rf"\b{word}(ly|ty)?\b", re.IGNORECASE)
    allowed = re.compile(r"wal_is_safe|safety data sheet|safety procedure|autoescape|\|safe", re.IGNORECASE)
    for path in sorted((ROOT / "stability").rglob("*.py")):
        for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1):
            if pattern.search(line) and not allowed.search(line):
                pytest.fail(f"{path.relative_to(ROOT)}:{number}: {line.strip()}")


def _session() -> list[tuple[str, str]]:
    """Return the README's session as (command, what it prints)."""
    block = README.split("## A session")[1].split("```console\n")[1].split("```")[0]
    parts = re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]
    return [(part.split("\n", 1)[0], part.split("\n", 1)[1].rstrip()) for part in parts]


def test_the_readme_session_is_what_the_program_prints(tmp_path: Path) -> None:
    (tmp_path / "config").symlink_to(ROOT / "config")
    environment = {k: v for k, v in os.environ.items() if not k.startswith("STABILITY_")}
    environment.update(COLUMNS="96", PYTHONUTF8="1")
    for command, printed in _session():
        done = subprocess.run(
            [sys.executable, "-m", *shlex.split(command)],
            cwd=tmp_path,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
        )
        shown = (done.stdout + done.stderr).rstrip()
        # which journal is used depends on the SQLite library of the machine
        assert re.sub(r"journal \w+", "journal", shown) == re.sub(r"journal \w+", "journal", printed), command
