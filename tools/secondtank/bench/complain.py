"""How the page says that something did not happen: until somebody closes it."""

from __future__ import annotations

from nicegui import ui


def complain(error: Exception) -> None:
    """Show it, in the error's own words."""
    ui.notify(str(error), type="negative", multi_line=True, close_button="Close", timeout=0)
