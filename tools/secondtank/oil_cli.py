"""The command line of `secondtank oil` and of what hangs on it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Points = Annotated[
    list[str] | None, typer.Option("--point", metavar="DEGC=MM2_S", help="A measured viscosity; may be repeated.")
]
Cups = Annotated[
    list[str] | None,
    typer.Option("--cup", help="A flow cup: iso3 to iso6, din4, ford1 to ford5, zahn1 to zahn3, shell2, shell3."),
]
Seconds = Annotated[
    list[str] | None, typer.Option("--seconds", help="Its runs, best three: 57,57.6,56.8. One for each --cup.")
]
At = Annotated[
    list[str] | None, typer.Option("--at", help="Temperature of the oil in it, degC; or one for each run, with commas.")
]
Kind = Annotated[str, typer.Option("--family", help="rapeseed, sunflower, soybean, corn, palm or frying.")]
Fresh = Annotated[bool, typer.Option("--fresh", help="The oil was never used. [default: used, so at worst thicker]")]
Limit = Annotated[float, typer.Option("--limit", help="Thickest that the injection pump may get, mm2/s.")]
Settings = Annotated[
    str | None,
    typer.Option(help="Start from these settings: a TOML file or a profile's name. [default: --write's, or the law's]"),
]
Write = Annotated[
    Path | None, typer.Option(help="Put the settings that follow into this TOML file; the law's validator checks them.")
]
Record = Annotated[Path, typer.Option(help="Record of batches and tank, a TOML file.")]
Folder = Annotated[Path, typer.Option("--out", help="Folder for oil.html, oil.svg and oil.json.")]
Json = Annotated[bool, typer.Option("--json", help="Print the answer as JSON, and nothing else, to standard output.")]
Day = Annotated[str | None, typer.Option("--on", metavar="YYYY-MM-DD", help="The day. [default: today]")]

_RECORD, _OUT = Path("oil_record.toml"), Path("build/oil")
_PUMP_MM2_S = 20.0

app = typer.Typer(invoke_without_command=True)


@app.callback()
def oil(
    ctx: typer.Context,
    points: Points = None,
    cups: Cups = None,
    seconds: Seconds = None,
    at: At = None,
    family: Kind = "frying",
    fresh: Fresh = False,
    blend: Annotated[
        str | None, typer.Option(metavar="diesel=PERCENT", help="Diesel in it, by volume. Never petrol.")
    ] = None,
    limit: Limit = _PUMP_MM2_S,
    settings: Settings = None,
    write: Write = None,
    out: Folder = _OUT,
    as_json: Json = False,
) -> None:
    """From a cup or two of oil to the temperatures at which it may be used. The thickest plausible curve decides.

    Warm a sample in a water bath, outdoors, never above a flame: hot oil burns, its fumes harm.

    Example: secondtank oil --cup iso4 --seconds 57,57.6,56.8 --at 21.5 --cup iso3 --seconds 57,56,57 --at 58 --write my_car.toml
    """
    if ctx.invoked_subcommand:
        return
    from secondtank.oil import Measured, OilOrder, Out, run_oil

    measured = Measured(tuple(points or ()), tuple(cups or ()), tuple(seconds or ()), tuple(at or ()))
    raise typer.Exit(run_oil(OilOrder(measured, family, fresh, blend, Out(out, write, as_json, settings, limit))))


@app.command()
def batch(
    name: Annotated[str, typer.Argument(help="Its name, as on the label.")],
    origin: Annotated[str | None, typer.Option(help="Where it came from.")] = None,
    litres: Annotated[float | None, typer.Option(help="How much there is.")] = None,
    settled: Annotated[float | None, typer.Option(help="Days it stood still before it was drawn off.")] = None,
    filters: Annotated[
        str | None, typer.Option("--filter", help="Filter steps, nominal um, from coarse to fine: 200,50,10.")
    ] = None,
    sample: Annotated[
        float | None, typer.Option(help="Oil weighed before heating it, g. Half a litre at most, outdoors: it spits.")
    ] = None,
    heated: Annotated[float | None, typer.Option(help="The same after heating, g.")] = None,
    scale: Annotated[float | None, typer.Option(help="The scale's division, g: it decides what can be seen.")] = None,
    sediment: Annotated[
        float | None, typer.Option(help="Sediment of a sample that stood warm for a day, mL/L.")
    ] = None,
    points: Points = None,
    cups: Cups = None,
    seconds: Seconds = None,
    at: At = None,
    family: Kind = "frying",
    fresh: Fresh = False,
    on: Day = None,
    record: Record = _RECORD,
    out: Annotated[Path, typer.Option(help="Folder for label.html.")] = _OUT,
    as_json: Json = False,
) -> None:
    """Record a batch of oil, judge it, and make its label; with the name alone: show one that is recorded.

    Example: secondtank oil batch canteen-7 --origin "school canteen" --litres 20 --settled 14 --filter 200,50,10 --sample 500 --heated 499.8
    --scale 0.1 --sediment 0
    """
    from secondtank.oil import Measured
    from secondtank.oil_batches import BatchOrder, run_batch

    measured = Measured(tuple(points or ()), tuple(cups or ()), tuple(seconds or ()), tuple(at or ()))
    order = BatchOrder(
        name, on, origin, litres, family, fresh, settled, filters, (sample, heated, scale), sediment, measured, record, out,
        as_json,
    )  # fmt: skip
    raise typer.Exit(run_batch(order))


@app.command()
def tank(
    fill: Annotated[str | None, typer.Option(metavar="NAME=LITRES", help="Oil of a batch came in.")] = None,
    diesel: Annotated[float | None, typer.Option(help="Litres of diesel came in: a blend, or purges.")] = None,
    left: Annotated[float | None, typer.Option(help="Litres that are left.")] = None,
    on: Day = None,
    limit: Limit = _PUMP_MM2_S,
    settings: Settings = None,
    write: Write = None,
    record: Record = _RECORD,
    out: Folder = _OUT,
    as_json: Json = False,
) -> None:
    """Follow what is in the oil tank: whose oil, how much diesel, and the mixture's curve and temperatures.

    Example: secondtank oil tank --fill canteen-7=20 --write my_car.toml
    """
    from secondtank.oil import Out
    from secondtank.oil_batches import TankOrder, run_tank

    raise typer.Exit(run_tank(TankOrder(fill, diesel, left, on, record, Out(out, write, as_json, settings, limit))))
