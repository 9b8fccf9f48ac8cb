"""The report of a drive: one HTML file that needs nothing else."""

from secondtank.report.page import render, write_report

__all__ = ["render", "write_report"]
