"""The manual agrees with the program: commands, record examples, make targets, the picture of the way."""

import re
import runpy
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer.main

from reelmark.cli.app import app
from reelmark.records import KINDS, adapter

ROOT = Path(__file__).parents[1]


def text(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def commands(group: object, path: tuple[str, ...]) -> Iterator[str]:
    inner = getattr(group, "commands", None)
    if inner is None:
        yield " ".join(path)
        return
    for name, one in inner.items():
        yield from commands(one, (*path, name))


COMMANDS = sorted(commands(typer.main.get_command(app), ("reelmark",)))
BLOCKS = re.findall(r"```json\n(.*?)```", text("docs/records.md"), re.S)
EXAMPLES = [line for block in BLOCKS for line in block.splitlines()]


def test_there_are_commands_to_look_for():
    assert {"reelmark trace", "reelmark numbers set", "reelmark log verify"} <= set(COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_stands_in_the_manual(command):
    section = re.search(rf"^### `{command}`\n(.*?)(?=^##|\Z)", text("docs/commands.md"), re.M | re.S)
    assert section, f"docs/commands.md has no section '### `{command}`': write its answer, an example, its JSON keys"
    assert f"\n{command} " in section[1], f"give an example line of {command} in its section of docs/commands.md"
    assert "\nJSON: " in section[1], f"name the keys of {command} --json in its section of docs/commands.md"


def test_the_manual_names_no_command_that_is_not_there():
    assert sorted(re.findall(r"^### `(.+?)`", text("docs/commands.md"), re.M)) == COMMANDS


@pytest.mark.parametrize("line", EXAMPLES)
def test_every_record_in_the_manual_is_a_record(line):
    adapter().validate_json(line)


def test_the_manual_shows_every_kind_of_record():
    shown = {adapter().validate_json(line).kind for line in EXAMPLES}
    assert shown == set(KINDS), f"show in docs/records.md: {set(KINDS) - shown}"


def test_the_readme_names_only_targets_that_make_knows():
    targets = set(re.findall(r"^([a-z]+):", text("Makefile"), re.M))
    named = set(re.findall(r"(?:^|`)make ([a-z]+)", text("README.md"), re.M))
    assert {"demo", "test"} <= named <= targets, f"README.md names {named - targets}, which the Makefile has not"


def test_the_picture_is_drawn_from_the_way():
    drawn = runpy.run_path(str(ROOT / "docs/draw_way.py"))["picture"]()
    assert drawn == text("docs/way.svg"), "the way has changed: run python docs/draw_way.py"
