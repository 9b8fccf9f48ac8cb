"""A board's trip log into a folder: its blocks as they came, checksums and all, and one CSV for each trip made from them.

A block is a file that is there whole or not at all, so that what broke off goes on where it was, also days later, when the board has
given up its oldest blocks.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from host_sim.errors import InputError
from host_sim.link_client import LinkClient, LinkError, stamped, unstamped
from secondtank.flash_port import find_port
from secondtank.monitor_board import Port, Stream, greet, tell_time
from secondtank.monitor_trips import write_trips

_ANSWER_S = 2.0
_TRIES, _AGAIN_S = 3, 1.0  # without a new block
_OWN_FOLDER = "the folder of this board, or a new one for another board, or one whose flash was erased"
_TOLD_EVERY = 20  # blocks, where there is no terminal to show a bar


@dataclass
class Range:
    """What the board says that there is. `dropped`: rows that found no room, since it was new."""

    oldest: int = 1
    newest: int = 0
    dropped: int = 0


class Blocks:
    """Blocks in a folder."""

    def __init__(self, folder: Path) -> None:
        """Raises InputError where it cannot be written."""
        self._folder = folder / "blocks"
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError("--journal", str(folder), f"a folder that can be written ({error.strerror})") from None

    def numbers(self) -> list[int]:
        """Those that are there."""
        return sorted(int(path.stem) for path in self._folder.glob("*.txt") if path.stem.isdigit())

    def lines(self, number: int) -> list[str]:
        """A block's lines, without their checksums. Raises InputError for a file that somebody changed."""
        path = self._path(number)
        lines = [unstamped(line) for line in path.read_text(encoding="ascii", errors="replace").splitlines()]
        if None in lines or not lines:
            raise InputError(
                str(path), "a line with a wrong checksum", "the lines as the board sent them; remove the file"
            )
        return [line for line in lines if line is not None]

    def keep(self, number: int, lines: list[str]) -> None:
        """Put a block there, whole or not at all. Raises InputError where it is not the one that is there and has grown."""
        path = self._path(number)
        if path.exists():
            before = [line for line in self.lines(number) if not line.startswith(("B,", "C,"))]
            now = [line for line in lines if not line.startswith(("B,", "C,"))]
            if lines[0].startswith("X,"):
                return  # damaged on the board since; ours is whole
            if now[: len(before)] != before and not before[0].startswith("X,"):
                raise InputError(str(path), "another block of that number", _OWN_FOLDER)
        whole = path.with_suffix(".part")
        whole.write_text("".join(stamped(line) + "\n" for line in lines), encoding="ascii")
        os.replace(whole, path)

    def _path(self, number: int) -> Path:
        return self._folder / f"{number:06d}.txt"


def read_blocks(client: LinkClient, blocks: Blocks, on_block: Callable[[int, Range], None]) -> Range:
    """Every block that the folder lacks, and the newest that it has, which may have grown. Raises LinkError, OSError, InputError."""
    there = Range()
    have = _next(blocks)
    for number, lines in _blocks(_plain(client, have), there):
        blocks.keep(number, lines)
        on_block(number, there)
    if there.newest < have:
        raise InputError("--journal", f"blocks up to {have}, of the board's {there.newest}", _OWN_FOLDER)
    return there


def _next(blocks: Blocks) -> int:
    return max(blocks.numbers(), default=0)


def _plain(client: LinkClient, number: int) -> Iterator[str]:
    for line in client.lines(f"journal {number}"):
        text = unstamped(line)
        if text is None:
            raise LinkError("journal", f"a damaged line: {line[:60]}")
        yield text


def _blocks(lines: Iterator[str], there: Range) -> Iterator[tuple[int, list[str]]]:
    number, block = 0, []
    for line in lines:
        kind, _, rest = line.partition(",")
        if kind == "R":
            there.oldest, there.newest, there.dropped = map(int, rest.split(","))
        elif kind in ("B", "X"):
            if block:
                yield number, block
            number, block = int(rest.split(",")[0]), [line]
        elif block:
            block.append(line)
    if block:
        yield number, block


def run_journal(
    port: str | None, folder: Path, set_clock: bool, as_json: bool, open_port: Callable[[str], Stream] = Port
) -> int:
    """Read, write, tell. Raises InputError; an interruption leaves whole blocks, and the next run goes on."""
    name = find_port(port, None)
    blocks = Blocks(folder)
    first = _next(blocks)
    there = _read_all(_Line(name, open_port, set_clock), blocks, quiet=as_json)
    gone = [number for number in range(first, there.oldest) if number not in blocks.numbers()] if first else []
    told = write_trips(folder, ((number, blocks.lines(number)) for number in blocks.numbers()))
    told["blocks"] = len(blocks.numbers())
    told["blocks_gone"] = len(gone)
    told["rows_dropped"] = there.dropped
    if as_json:
        print(json.dumps(told))
        return 0
    print(
        f"{told['blocks']} blocks, {told['rows']} rows: {told['trips']} trips in {folder}, {told['parked']} rows between them in parked.csv"
    )
    print(
        f"dropped on the board, for want of room: {there.dropped} rows since it was new; damaged blocks: {told['damaged']}"
    )
    if gone:
        print(f"the board had given up blocks {gone[0]} to {gone[-1]} before they were read")
    return 0


@dataclass
class _Line:
    """The way to the board, which may break."""

    name: str
    open_port: Callable[[str], Stream]
    set_clock: bool

    def read(self, blocks: Blocks, on_block: Callable[[int, Range], None]) -> Range:
        """All that the folder lacks. Raises LinkError, OSError, InputError."""
        port = self.open_port(self.name)
        try:
            client = LinkClient(port, _ANSWER_S)
            greet(client, self.name)
            if self.set_clock:
                self.set_clock = False
                print(f"-- {tell_time(client).text}", file=sys.stderr)
            return read_blocks(client, blocks, on_block)
        finally:
            port.close()


def _read_all(line: _Line, blocks: Blocks, quiet: bool) -> Range:
    """With progress, and on after damage, silence and a lost cable, as long as blocks come."""
    first = reached = _next(blocks)
    shown = Progress(
        TextColumn("reading blocks"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(),
        disable=quiet or not sys.stdout.isatty(),
    )  # fmt: skip
    with shown:
        task = shown.add_task("", total=None)

        def on_block(number: int, there: Range) -> None:
            begin = max(there.oldest, first)
            done, total = number - begin + 1, there.newest - begin + 1
            shown.update(task, completed=done, total=total)
            if shown.disable and not quiet and (done % _TOLD_EVERY == 0 or number == there.newest):
                print(f"block {number}: {done} of {total}", flush=True)

        tries = 0
        while True:
            try:
                return line.read(blocks, on_block)
            except (LinkError, OSError) as error:
                tries = 1 if _next(blocks) > reached else tries + 1
                reached = _next(blocks)
                if tries >= _TRIES:
                    wanted = f"a board that answers; blocks up to {reached} are kept, run this again to go on"
                    raise InputError(line.name, str(error), wanted) from None
                time.sleep(_AGAIN_S)
