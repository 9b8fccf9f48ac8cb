"""Every example of the page, played: what is sent and what comes back, error replies included, nothing left over."""

from __future__ import annotations

import re
from binascii import crc_hqx
from pathlib import Path

import pytest

from link_table import NAME, TABLE
from tests.link.desk import SCENES, Desk

PAGE = Path(__file__).parents[2] / "docs" / "link.md"
BLOCKS = re.findall(r"^```link (\w+)\n(.*?)^```$", PAGE.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)
MEANWHILE = {"1 s": lambda desk: desk.run(1), "the key is turned on": lambda desk: desk.rig.key(True)}


def exchanges(block: str) -> list[tuple[str, list[str]]]:
    """(sent or done, received) in the block's order."""
    found: list[tuple[str, list[str]]] = []
    for line in block.splitlines():
        if line.startswith(("> ", "(")):
            found.append((line, []))
        else:
            found[-1][1].append(line)
    return found


def matches(received: list[str], wanted: list[str]) -> bool:
    """The same lines; `...` stands for one or more."""
    if not wanted:
        return not received
    if wanted[0] == "...":
        return any(matches(received[skipped:], wanted[1:]) for skipped in range(1, len(received) + 1))
    return bool(received) and received[0] == wanted[0] and matches(received[1:], wanted[1:])


def act(desk: Desk, done: str) -> list[str]:
    if done.startswith("> "):
        return desk.say(done[2:] + "\r\n")
    MEANWHILE[done.strip("()")](desk)
    return desk.say(b"")


@pytest.mark.parametrize(("scene", "block"), BLOCKS, ids=[f"{n}-{scene}" for n, (scene, _) in enumerate(BLOCKS)])
def test_page_shows_what_the_link_says(scene: str, block: str, tmp_path: Path) -> None:
    desk = SCENES[scene](tmp_path)
    for done, wanted in exchanges(block):
        received = act(desk, done)
        assert matches(received, wanted), (done, received)
        assert all(len(line) <= 120 for line in received)
    desk.link.commands.every_ticks = 0
    assert desk.say(b"") == []


def test_page_has_an_example_of_every_command() -> None:
    sent = {done.split()[1] for _, block in BLOCKS for done, _ in exchanges(block) if done.startswith("> ")}
    assert sent >= {row[NAME] for row in TABLE}
    shown = "".join(block for _, block in BLOCKS)
    assert shown.count("\nerror ") > 12


def test_every_checksum_of_the_page_is_that_of_the_standard_library() -> None:
    """One is there to be wrong."""
    stamps = re.findall(r"^(?:> )?(\S.*) \*([0-9A-F]{4})$", "".join(block for _, block in BLOCKS), re.MULTILINE)
    wrong = [text for text, digits in stamps if f"{crc_hqx(text.strip().encode(), 0):04X}" != digits]
    assert len(stamps) > 15
    assert wrong == ["status"]
