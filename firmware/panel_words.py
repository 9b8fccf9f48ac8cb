"""The words of the panel's pages besides the messages. A second language is a second module with these names.

A line of a service page has 21 letters, the fuel 7, the name of a bar 5.
"""

OIL, DIESEL = "OIL", "DIESEL"
BARS = ("oil", "suct.", "fill", "purge")
LEAST = "min"
TITLES = ("SENSORS 1/2", "SENSORS 2/2", "BLOCKS OIL", "VERSIONS", "CREDITED")
ACTIONS = (
    ("PRIME AND BLEED", "Engine off, READY.\nHold the button, pump\nby hand, catch what\nruns out."),
    ("FILTER CHANGED", "Is a new element in?\nHold the button: its\nsuction is learnt\nanew. Prime it next."),
    ("SELF-TEST", "Engine off, no oil in\nthe lines. Hold the\nbutton: one output,\n2 s at most."),
)
CHANNELS = ("coolant", "oil", "suction", "oil tank", "inlet", "oil lev.", "dies.lev.", "supply", "ambient", "air")
CONTACTS = ("key", "engine", "ready", "button", "supplyV", "returnV", "brake", "neutral", "bonnet", "lights")
REASONS = (
    "", "not fitted", "settling", "open", "short", "out of range", "jumped", "no answer", "frozen", "swapped",
    "ground lost", "irrational",
)  # fmt: skip
NOTHING_BLOCKS = "Nothing blocks oil."
FORCES, BLOCKS = "!", " "  # before a row that ends oil, and one that only forbids it
AUTHORITIES = ("advise", "permit", "automatic")
LAYOUTS = ("tank return", "looped return")
VERSIONS = ("firmware", "settings", "authority", "layout", "start", "log lost", "log files")
TOTALS = ("on oil", "on diesel", "filtered", "purged", "purges", "trips")
