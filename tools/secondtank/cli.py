"""The `secondtank` command line: verbs, exit status, and the one place where bad input becomes a message."""

from __future__ import annotations

import sys
import traceback
from pathlib import Path
from typing import Annotated

import typer

from changeover import VERSION
from host_sim.errors import InputError
from secondtank.oil_cli import app as oil_app

# Exit status of all verbs; 130 is the shell's own word for an interrupt.
RAN, INTERNAL, BAD_INPUT, HAZARD, NOT_VALID, INTERRUPTED = 0, 1, 2, 3, 4, 130

app = typer.Typer(
    name="secondtank", no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None
)


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


@app.command()
def faults(
    only: Annotated[str | None, typer.Option("--only", metavar="ID", help="One fault of the catalogue.")] = None,
    state: Annotated[str | None, typer.Option(help="One state, such as ON_OIL.")] = None,
    phase: Annotated[
        str | None,
        typer.Option(help="When the fault begins: first (tick of the state), middle, last (tick before its exit)."),
    ] = None,
    layout: Annotated[str | None, typer.Option(help="tank_return or looped_return.")] = None,
    authority: Annotated[str | None, typer.Option(help="advise, permit or automatic.")] = None,
    smoke: Annotated[
        bool, typer.Option("--smoke", help="A fixed sample: every fault, state, phase and rig at least once.")
    ] = False,
    drives: Annotated[
        int, typer.Option(min=0, help="Write a report for the worst cell of at most so many faults (5 MB each).")
    ] = 12,
    jobs: Annotated[int | None, typer.Option(min=1, help="Processes. [default: one for each core]")] = None,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="A running Dask scheduler, as tcp://host:8786 (extra `cluster`)."),
    ] = None,
    out: Annotated[Path, typer.Option(help="Folder for faults.json, faults.html and drives/.")] = Path("build/faults"),
    as_json: Annotated[
        bool, typer.Option("--json", help="Print faults.json, and nothing else, to standard output.")
    ] = False,
) -> None:
    """Break one thing at a time, in every state, at its first tick, middle and last tick, in every layout and authority.

    Ends with 3 where a promise of the fault catalogue did not hold. Example: secondtank faults --only oil-open --state ON_OIL
    """
    from secondtank.fault_cells import Asked
    from secondtank.faults import FaultsOrder, run_faults

    asked = Asked(only, state, phase, layout, authority, smoke)
    raise typer.Exit(run_faults(FaultsOrder(asked, drives, jobs, cluster, out, as_json)))


@app.command()
def campaign(
    scenario: Annotated[
        str, typer.Argument(help="A scenario file with a table [spread], or the name of one of the project's own.")
    ] = "winter_commute",
    trips: Annotated[int, typer.Option(min=1, help="Random trips in all.")] = 100,
    settings: Annotated[
        str | None, typer.Option(help="Settings: a TOML file or a profile's name. [default: the scenario's]")
    ] = None,
    against: Annotated[
        str | None, typer.Option(help="Run the very same trips under these settings too, and compare.")
    ] = None,
    faults: Annotated[int, typer.Option(min=0, max=2, help="Faults of the catalogue in each trip.")] = 0,
    seed: Annotated[
        int, typer.Option(min=0, help="Seed of the campaign; with a trip's number it gives that trip.")
    ] = 1,
    jobs: Annotated[int | None, typer.Option(min=1, help="Processes. [default: one for each core]")] = None,
    out: Annotated[
        Path, typer.Option(help="Folder for trips.jsonl, summary.json and the worst trips as scenario files.")
    ] = Path("build/campaign"),
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the summary as JSON, and nothing else, to standard output.")
    ] = False,
    resume: Annotated[bool, typer.Option("--resume", help="Go on with the campaign in --out.")] = False,
) -> None:
    """Draw random trips from a scenario's spread and count what happens: hazards, time on oil, false forced exits.

    Ends with 3 when a hazard passed its limit untold, unless two faults were asked for, or the one fault's row lets it pass.

    Example: secondtank campaign winter_commute --trips 1000 --faults 1 --out build/one_fault
    """
    from secondtank.campaign import CampaignOrder, run_campaign
    from secondtank.workers import cores

    order = CampaignOrder(
        scenario, trips, settings, against, faults, seed, cores() if jobs is None else jobs, out, as_json, resume
    )
    raise typer.Exit(run_campaign(order))


@app.command()
def board(
    scenario: Annotated[
        str | None, typer.Argument(help="Let this scenario's driver drive. [default: the car stands, key off]")
    ] = None,
    settings: Annotated[
        str | None,
        typer.Option(help="Settings for an empty flash: a TOML file or a profile's name. [default: the scenario's]"),
    ] = None,
    flash: Annotated[
        Path | None, typer.Option(help="Folder that is the board's flash. [default: one that is thrown away]")
    ] = None,
    port: Annotated[Path | None, typer.Option(help="Make this name point to the serial port.")] = None,
    speed: Annotated[float, typer.Option(min=0, help="Of simulated time; 0: as fast as it goes.")] = 1.0,
    minutes: Annotated[
        float | None, typer.Option(min=0, help="End after so much simulated time. [default: Ctrl-C]")
    ] = None,
) -> None:
    """Run the board's own program here, under MicroPython, with the simulated car behind its pins and a serial port to talk to.

    Example: secondtank board winter_commute --speed 20 --port build/board
    """
    from secondtank.board import BoardOrder, run_board

    raise typer.Exit(run_board(BoardOrder(scenario, settings, flash, port, speed, minutes)))


@app.command()
def flash(
    port: Annotated[str | None, typer.Option(help="Serial port of the board. [default: the only one on USB]")] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Make all checks, tell the plan, write nothing. The program restarts.")
    ] = False,
    verify: Annotated[
        bool, typer.Option("--verify", help="Compare the board with this tree, file by file; 4 where they differ.")
    ] = False,
    settings: Annotated[
        str | None, typer.Option(help="Settings for the board: a TOML file or a profile's name. [default: its own]")
    ] = None,
    uf2: Annotated[
        Path | None,
        typer.Option(help="Put MicroPython itself on a board in BOOTSEL mode: its official image for the Pico."),
    ] = None,
    repair: Annotated[
        bool,
        typer.Option(
            "--repair", help="The board's program does not start: put it back even if there may be oil in the lines."
        ),
    ] = False,
    out: Annotated[Path, typer.Option(help="Folder for copies of the board's settings and record.")] = Path(
        "build/flash"
    ),
) -> None:
    """Put the program on a board, whole or not at all; record, trip log and settings stay.

    Engine off, key off; the board on the desk, or its fuse in the car pulled. Example: secondtank flash --dry-run
    """
    from secondtank.flash import FlashOrder, run_flash

    raise typer.Exit(run_flash(FlashOrder(port, dry_run, verify, repair, settings, uf2, out)))


@app.command()
def monitor(
    port: Annotated[str | None, typer.Option(help="Serial port of the board. [default: the only one on USB]")] = None,
    log: Annotated[
        Path | None, typer.Option(help="Keep every row in this new CSV file, each on the disk before the next.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line, and nothing else.")] = False,
    journal: Annotated[
        Path | None,
        typer.Option(help="Read the trip log into this folder, a CSV for each trip; goes on where it was, then ends."),
    ] = None,
    set_clock: Annotated[
        bool, typer.Option("--set-clock", help="Tell the board, for its trip log, what time this machine has.")
    ] = False,
) -> None:
    """Watch a board from a terminal, until Ctrl-C. Changes nothing on it, but for --set-clock.

    Example: secondtank monitor --log drive.csv
    """
    from secondtank.monitor import MonitorOrder, run_monitor

    if journal is not None and log is not None:
        raise InputError("--journal and --log", str(log), "one of them: the trip log is read, or the board is watched")
    raise typer.Exit(run_monitor(MonitorOrder(port, log, as_json, journal, set_clock)))


@app.command()
def bench(
    port: Annotated[
        str | None, typer.Option(help="Serial port of the board, or a pseudo-terminal. [default: the only one on USB]")
    ] = None,
    virtual: Annotated[bool, typer.Option("--virtual", help="No board at hand: one inside this program.")] = False,
    records: Annotated[Path, typer.Option(help="Folder for the records of checks and calibrations.")] = Path(
        "build/bench"
    ),
    page_port: Annotated[
        int, typer.Option(min=1024, max=65535, help="Where the page is served, on this machine only.")
    ] = 8137,
    show: Annotated[bool, typer.Option("--show/--no-show", help="Open the page in the browser.")] = True,
) -> None:
    """A page in the browser beside a board on the desk: feed its inputs, watch what it thinks and drives, check, calibrate, set.

    Key off, engine stopped, no oil in the lines. Example: secondtank bench --virtual
    """
    from secondtank.bench.run import BenchOrder, run_bench

    raise typer.Exit(run_bench(BenchOrder(port, virtual, records, page_port, show)))


@app.command()
def stop(
    oil: Annotated[
        float | None, typer.Option(help="Oil at the filter now, degC. [default: 78, as at work (common practice)]")
    ] = None,
    ambient: Annotated[
        float | None, typer.Option(help="Outside air while it stands, degC. [default: the settings' worst]")
    ] = None,
    wind: Annotated[float, typer.Option(help="Wind at the car, km/h.")] = 0.0,
    parked: Annotated[str | None, typer.Option(metavar="HH:MM", help="When it is parked. [default: now]")] = None,
    stops: Annotated[
        Path | None,
        typer.Option(
            help="Learn from this CSV of stops: minutes,oil_off_degc,oil_on_degc,ambient_degc,wind_km_h. The worst is kept."
        ),
    ] = None,
    settings: Annotated[
        str | None, typer.Option(help="Settings: a TOML file or a profile's name. [default: --write's, or the law's]")
    ] = None,
    write: Annotated[
        Path | None, typer.Option(help="Put the cooling time in this wind into this TOML file, for the board.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Folder for stop.html. [default: none]")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the answer as JSON, and nothing else.")] = False,
) -> None:
    """How long may the car stand with oil in the lines? Minutes, the span on the clock, or: purge.

    Example: secondtank stop --oil 76 --ambient -5 --wind 15 --parked 14:05 --settings my_car.toml
    """
    from secondtank.stop import StopOrder, run_stop

    raise typer.Exit(run_stop(StopOrder(oil, ambient, wind, parked, stops, settings, write, out, as_json)))


app.add_typer(oil_app, name="oil")


@app.command()
def replay(
    logs: Annotated[
        list[Path],
        typer.Argument(
            help="Logs: of drive, board or monitor, a capture of the link, or any table with a time column."
        ),
    ],
    columns: Annotated[
        list[str] | None,
        typer.Option(
            "--map",
            metavar="QUANTITY=COLUMN[:UNIT],...",
            help="Where a table holds what. [default: LOG.map.toml, map.toml]",
        ),
    ] = None,
    settings: Annotated[
        str | None,
        typer.Option(
            help="Settings: a TOML file or a profile's name. [default: the log's own; of a table, full_guard]"
        ),
    ] = None,
    against: Annotated[
        str | None, typer.Option(help="Replay under these settings too, and show only what changed.")
    ] = None,
    firmware: Annotated[
        str | None,
        typer.Option(metavar="DIR_OR_REV", help="Replay with this version of the law too, and show only what changed."),
    ] = None,
    shadow: Annotated[
        bool, typer.Option("--shadow", help="How often each interlock would have acted, and how near its reading came.")
    ] = False,
    strict: Annotated[bool, typer.Option("--strict", help="Refuse what would be repaired and counted.")] = False,
    jobs: Annotated[int | None, typer.Option(min=1, help="Processes. [default: one for each core]")] = None,
    out: Annotated[Path, typer.Option(help="Folder for replay.json, and for each log its report.")] = Path(
        "build/replay"
    ),
    as_json: Annotated[
        bool, typer.Option("--json", help="Print replay.json, and nothing else, to standard output.")
    ] = False,
) -> None:
    """Run the very law over logs: what it decides, what each limit was from, what other settings would have changed.

    Ends with 3 where a log of this very program is not reproduced, with 4 where the thing in question never happens.

    Example: secondtank replay build/drive/log.csv --against warmer.toml
    """
    from secondtank.replay import ReplayOrder, run_replay

    order = ReplayOrder(
        tuple(logs), tuple(columns or ()), settings, against, firmware, shadow, strict, jobs, out, as_json
    )
    raise typer.Exit(run_replay(order))


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
