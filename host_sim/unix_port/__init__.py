"""The board's own program under MicroPython's Unix port, with the simulated car behind its pins."""

from host_sim import firmware_files as firmware_files  # the modules here import the firmware's
