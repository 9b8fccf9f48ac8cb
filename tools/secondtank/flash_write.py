"""The steps of a plan, in the order in which an interruption does no harm; and the comparison afterwards."""

from __future__ import annotations

from secondtank.flash_board import BoardFiles
from secondtank.flash_plan import BEFORE, Found, Plan
from secondtank.flash_set import SETTINGS_FOR, START, ProgramSet


def write(board: BoardFiles, plan: Plan, found: Found, start: bytes) -> None:
    """All of it. Until the last step the board starts what it started before, with the settings that it had."""
    board.guard()
    board.remove_tree(plan.folder)
    pending = SETTINGS_FOR + plan.folder
    if pending in found.files:
        board.remove(pending)  # of an attempt that was broken off
    files = {f"{plan.folder}/{name}": data for name, data in plan.program.files.items()}
    folders = {name.rsplit("/", 1)[0] for name in [*files, *plan.record]}
    for folder in sorted(folders | ({"settings"} if plan.settings else set())):
        board.folder(folder)
    for name, data in files.items():
        board.put(name, data)
    for name, data in plan.record.items():
        board.put_at_once(name, data)
    if plan.settings is not None:
        if found.settings is not None:
            board.put_at_once(BEFORE, found.settings)
        board.put(pending, plan.settings.data)
    board.put_at_once(START, start)


def differences(board: BoardFiles, found: Found, program: ProgramSet, start: bytes) -> list[str]:
    """What is on the board that is not in this tree, or not the same, a line each."""
    if found.runs is None:
        return [f"{START}: not written by this command" if START in found.files else f"{START}: missing"]
    wanted = {START: start} | {f"{found.runs}/{name}": data for name, data in program.files.items()}
    there = {name for name in found.files if name == START or name.startswith(found.runs + "/")}
    told = [f"{name}: missing" for name in sorted(set(wanted) - there)]
    told += [f"{name}: not in this tree" for name in sorted(there - set(wanted))]
    return told + [f"{name}: differs" for name in sorted(there & set(wanted)) if not board.same(name, wanted[name])]
