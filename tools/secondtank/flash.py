"""The verb `flash`: the program onto a board, or nothing changed. Words, order of the steps, what an interruption leaves."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from mpremote.transport import TransportError
from rich.console import Console
from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn

from host_sim.errors import InputError
from host_sim.firmware_files import FIRMWARE
from pins import gpio
from secondtank import flash_plan, flash_uf2, flash_write
from secondtank.flash_board import BoardFiles
from secondtank.flash_plan import NEVER, Found, Plan
from secondtank.flash_port import Said, Session, ask_program, find_port
from secondtank.flash_set import ProgramSet, build, start_file

RAN, DIFFERS = 0, 4
CAUTION = """Before you go on: engine off, key off, selector on DIESEL, and either the board on the desk or its fuse in the car pulled, so that the
cable alone feeds it. A car must not be driven or worked on while its board is written."""
OWNER = "This board has no record of what its fuel lines hold. Is it new, and has no car with it ever driven on oil?"
INTACT = "nothing was swapped: the board starts what it started before, with its settings and its record"
SWAPPED = "the new program is whole and starts next"
UNSURE = "the last step may or may not be done: either way one whole program starts; look with --verify"


@dataclass(frozen=True)
class FlashOrder:
    """What the command line asks for. `out`: folder for copies of what the board had."""

    port: str | None
    dry_run: bool
    verify: bool
    repair: bool
    settings: str | None
    uf2: Path | None
    out: Path


def _terminal() -> bool:
    return sys.stdin.isatty() and sys.stdout.isatty()


def _choose(ports: list[str]) -> int:
    print("Several boards:", *(f"  {number}: {port}" for number, port in enumerate(ports, 1)), sep="\n")
    answer = input("Which? ").strip()
    if not answer.isdigit() or not 1 <= int(answer) <= len(ports):
        raise InputError("the board's number", answer, f"a number from 1 to {len(ports)}")
    return int(answer) - 1


def _owner_says_never() -> bool:
    return input(f"{OWNER}\nType NEVER to say so, anything else to leave it open: ").strip() == "NEVER"


def run_flash(order: FlashOrder) -> int:
    """Write, look or compare. Raises InputError, before or after which the board runs one whole program."""
    if order.uf2 is not None:
        drive = flash_uf2.copy_uf2(order.uf2, flash_uf2.drives())
        print(f"{order.uf2} copied to {drive}. When the board's serial port is there, run this again without --uf2.")
        return RAN
    program = build(FIRMWARE)
    print(CAUTION)
    session = Session(find_port(order.port, _choose if _terminal() else None))
    try:
        return _at(session, order, program)
    finally:
        session.start()
        session.close()


def _at(session: Session, order: FlashOrder, program: ProgramSet) -> int:
    said = ask_program(session.client())
    print("its program: " + (f"answers, {said.state}" if said else "none answers"))
    flash_plan.check_said(said)
    session.stop()
    board = BoardFiles(session.transport)
    with _explained(board):
        done = _stopped(session.port, board, said, order, program)
    if done is not None:
        return done
    print(SWAPPED)
    session.start()
    print(*session.greet(), sep="\n")
    return RAN


def _stopped(port: str, board: BoardFiles, said: Said | None, order: FlashOrder, program: ProgramSet) -> int | None:
    """What is done while no program runs: the exit status, None where a new one is to start."""
    found = flash_plan.look(board)
    about, version = found.about, ".".join(map(str, found.about.version))
    print(f"{port}: {about.machine}, MicroPython {version}, {about.free} blocks free")
    print(f"runs {found.runs or 'no program of this command'}; record: {found.record}")
    flash_plan.check_chip(about)
    flash_plan.check_contacts(*board.contacts((gpio("key"), gpio("engine"))))
    red = gpio("red")
    if order.verify:
        start = start_file(found.runs or "", red)
        return _tell_differences(found, program, flash_write.differences(board, found, program, start))
    flash_plan.check_lines(found.record, said, order.repair)
    asks = _owner_says_never if _terminal() and not order.dry_run else (lambda: False)
    plan = flash_plan.make_plan(found, program, order.settings, asks)
    _tell(plan, found)
    if order.dry_run:
        print("dry run: nothing is written")
        return RAN
    _keep_copies(order.out, found)
    _write(board, plan, found, start_file(plan.folder, red))
    return None


@contextmanager
def _explained(board: BoardFiles) -> Iterator[None]:
    """Where the board goes away, say what is on it."""
    try:
        yield
    except KeyboardInterrupt:
        print(f"interrupted while {board.doing}: {_left(board)}", file=sys.stderr)
        raise
    except (TransportError, OSError) as error:
        raise InputError(
            f"the board, while {board.doing}",
            str(error) or type(error).__name__,
            f"a board that answers to the end; {_left(board)}",
        ) from None


def _tell(plan: Plan, found: Found) -> None:
    program = plan.program
    print(
        f"to write: {plan.folder}, {len(program.files)} files, {program.size} bytes, sources {program.sources}, law {program.law}"
    )
    if plan.settings is not None:
        print("settings that change:", *(f"  {change}" for change in plan.settings.changes), sep="\n")
    elif found.settings is None:
        print(
            "settings: none on the board; it will say so and move no valve until it is given some (--settings, or its link)"
        )
    else:
        print("settings: stay as they are")
    if found.record == NEVER and not plan.record:
        print(
            "record: none; the program takes that for oil in the lines: it purges at the first start, and no bench until then"
        )
    elif plan.record:
        print("record: written new, diesel in the lines, on your word")
    else:
        print("record: stays as it is")
    print("trip log: stays as it is")


def _keep_copies(out: Path, found: Found) -> None:
    """Settings and record as they were, on this machine."""
    if not found.kept:
        return
    digest = hashlib.sha256(b"".join(found.kept[name] for name in sorted(found.kept))).hexdigest()[:16]
    folder = out / digest
    try:
        for name, data in found.kept.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(data)
    except OSError as error:
        raise InputError(str(folder), error.strerror, "a folder that can be written") from None
    print(f"copies of settings and record: {folder}")


def _write(board: BoardFiles, plan: Plan, found: Found, start: bytes) -> None:
    shown = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        DownloadColumn(),
        console=Console(),
        disable=not sys.stdout.isatty(),
    )
    with shown:
        task = shown.add_task("writing", total=plan.program.size)
        board.on_bytes = lambda count: shown.advance(task, count)
        flash_write.write(board, plan, found, start)


def _left(board: BoardFiles) -> str:
    return UNSURE if board.doing == "replacing main.py" else INTACT


def _tell_differences(found: Found, program: ProgramSet, differences: list[str]) -> int:
    print(f"this tree: sources {program.sources}, law {program.law}, {program.compiler}")
    if found.manifest:
        print(f"the board: {', '.join(found.manifest.splitlines())}")
    print(*(differences or ["the same, file by file"]), sep="\n")
    return DIFFERS if differences else RAN
