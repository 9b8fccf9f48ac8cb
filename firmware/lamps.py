"""Three dimmed lamps and the buzzer as outputs. What blinks and beeps: `lamp_patterns`."""

from lamp_patterns import LampPatterns

BRIGHT, DIM = 65535, 6000  # duty; dim, about a tenth, is for the dark


class Lamps:
    """`lamps`: three dimmed outputs, red, amber, green; `buzzer`: a pin."""

    def __init__(self, lamps: list, buzzer: object) -> None:
        self._lamps = lamps
        self._buzzer = buzzer
        self._patterns = LampPatterns()
        self._duty = [0, 0, 0]

    def step(self, red: int, amber: int, green: int, sound: int, dark: bool) -> None:
        """One tick: patterns of `panel_logic`; `dark`: the car's lights are on."""
        patterns = self._patterns
        patterns.step(red, amber, green, sound)
        full = DIM if dark else BRIGHT
        self.set(0, full if patterns.red else 0)
        self.set(1, full if patterns.amber else 0)
        self.set(2, full if patterns.green else 0)
        self._buzzer.value(patterns.buzzer)  # pyright: ignore[reportAttributeAccessIssue]

    def set(self, place: int, duty: int) -> None:
        """Lamp 0 to 2 at this duty, 0 to 65535."""
        if duty != self._duty[place]:
            self._duty[place] = duty
            self._lamps[place].duty_u16(duty)

    def force(self, place: int) -> None:
        """A self-test's, after `step`: 0 the buzzer, 1 to 3 the lamps."""
        if place:
            self.set(place - 1, BRIGHT)
        else:
            self._buzzer.value(1)  # pyright: ignore[reportAttributeAccessIssue]

    def off(self) -> None:
        """Dark and silent, whatever was remembered of them."""
        for place in range(3):
            self._duty[place] = 0
            self._lamps[place].duty_u16(0)
        self._buzzer.value(0)  # pyright: ignore[reportAttributeAccessIssue]
