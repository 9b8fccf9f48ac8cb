"""The one way in which bad input is refused."""


class InputError(Exception):
    """Input that cannot be used: where it stands, what stood there, what would be right.

    `place` names the file with its line or key, `value` is what was found (shown by `repr`, shortened), `wanted` says what would be right.
    """

    def __init__(self, place: str, value: object, wanted: str) -> None:
        self.place = place
        self.value = value
        self.wanted = wanted
        shown = repr(value)
        super().__init__(f"{place}: found {shown if len(shown) <= 60 else shown[:57] + '...'}; wanted {wanted}")
