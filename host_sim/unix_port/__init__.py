"""The board's own program under MicroPython's Unix port, with the simulated car behind its pins."""
