"""The `secondtank` command line."""

import typer

from changeover import VERSION

app = typer.Typer(name="secondtank", no_args_is_help=True, add_completion=False)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(VERSION)
        raise typer.Exit


@app.callback()
def secondtank(
    version: bool = typer.Option(False, "--version", callback=_show_version, help="Print the version."),
) -> None:
    """Controller and simulated car for a second tank of vegetable oil."""


def main() -> None:
    """Run the command named on the command line."""
    app()
