"""The law of the changeover: integers only, no hardware, the same files on the board and on the desktop."""

VERSION = "0.1.0"
