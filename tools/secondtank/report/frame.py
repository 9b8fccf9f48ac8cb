"""The frame of every page: one file that needs nothing from outside, light and dark."""

from __future__ import annotations

from importlib.resources import files

from secondtank.report.words import text

STILL = "default-src 'none'; style-src 'unsafe-inline'"  # a page without scripts


def resource(name: str) -> str:
    """A style sheet or script that lies beside this file."""
    return files("secondtank.report").joinpath(name).read_text(encoding="utf-8")


def frame(title: str, main: str, *, style: str = "", after: str = "", policy: str = STILL) -> str:
    """The page as one text. `style`: on top of page.css; `after`: scripts and the like below `main`; `policy`: what it may load."""
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<title>{text(title)}</title>
<style>
{resource("page.css")}
{style}</style>
</head>
<body>
<main>
{main}
</main>
{after}</body>
</html>
"""
