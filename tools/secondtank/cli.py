"""The `secondtank` command line: verbs, exit status, and the one place where bad input becomes a message."""

from __future__ import annotations

import sys
import traceback
from pathlib import Path
from typing import Annotated

import typer

from changeover import VERSION
from host_sim.errors import InputError

# Exit status of all verbs; 130 is the shell's own word for an interrupt.
RAN, INTERNAL, BAD_INPUT, HAZARD, NOT_VALID, INTERRUPTED = 0, 1, 2, 3, 4, 130

app = typer.Typer(name="secondtank", no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(VERSION)
        raise typer.Exit


@app.callback()
def secondtank(
    version: Annotated[bool, typer.Option("--version", callback=_show_version, help="Print the version.")] = False,
) -> None:
    """Plan, simulate and prove the changeover between diesel and a second tank of heated vegetable oil."""


@app.command()
def drive(
    scenario: Annotated[
        str | None,
        typer.Argument(
            help="A scenario file, or the name of one of the project's own. [default: winter_commute; with --trace, logged_drive]"
        ),
    ] = None,
    settings: Annotated[
        str | None, typer.Option(help="Settings: a TOML file or a profile's name. [default: the scenario's]")
    ] = None,
    trace: Annotated[Path | None, typer.Option(help="Drive the engine side from this log of a real car (CSV).")] = None,
    coolant_from_log: Annotated[bool, typer.Option(help="With --trace: take the coolant from the log, too.")] = False,
    ambient: Annotated[
        float | None, typer.Option(help="With --trace: air temperature in degC, where the log is not to say.")
    ] = None,
    strict: Annotated[
        bool, typer.Option(help="With --trace: refuse time that runs backwards instead of repairing it.")
    ] = False,
    change: Annotated[
        list[str] | None, typer.Option("--set", metavar="NAME=VALUE", help="Change one setting; may be repeated.")
    ] = None,
    seed: Annotated[
        int | None, typer.Option(min=0, help="Seed of all random streams. [default: the scenario's]")
    ] = None,
    out: Annotated[Path, typer.Option(help="Folder for report.html, summary.json and log.csv.")] = Path("build/drive"),
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the summary as JSON, and nothing else, to standard output.")
    ] = False,
) -> None:
    """Drive a scenario in the simulated car, decided by the very files that go onto the board.

    Example: secondtank drive winter_commute --set oil_entry_cdegc=7200 --out build/warmer
    """
    from secondtank.drive import DriveOrder, run_drive

    order = DriveOrder(
        scenario or ("logged_drive" if trace else "winter_commute"),
        settings,
        trace,
        coolant_from_log,
        ambient,
        strict,
        tuple(change or ()),
        seed,
        out,
        as_json,
    )
    raise typer.Exit(run_drive(order))


def main() -> None:
    """Run the command named on the command line; end with the exit status of the design."""
    try:
        app()
    except InputError as error:
        print(f"secondtank: {error}", file=sys.stderr)
        sys.exit(BAD_INPUT)
    except KeyboardInterrupt:
        print("secondtank: interrupted", file=sys.stderr)
        sys.exit(INTERRUPTED)
    except Exception:
        traceback.print_exc()
        print(
            "secondtank: this is a fault of the program, not of your input; please report the lines above",
            file=sys.stderr,
        )
        sys.exit(INTERNAL)
