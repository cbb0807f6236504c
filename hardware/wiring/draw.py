"""Draws the wiring diagrams: `python hardware/wiring/draw.py` writes the SVG files beside this script.

Each diagram is data: parts with their pins, and wires from pin to pin.  A wire tells what it carries in words
as well as by its colour.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from pathlib import Path

COLOURS = {
    "3.3 V": "#c62828",
    "ground": "#222222",
    "UV signal": "#1565c0",
    "temperature signal": "#6a1b9a",
    "SDA (data)": "#1565c0",
    "SCL (clock)": "#b26a00",
    "enable (3.3 V)": "#c62828",
}

PIN_PITCH = 44
PIN_MARGIN = 36
HEADING = 56
LANE = 26


@dataclass(frozen=True, slots=True)
class Part:
    """A box with pins down the side that faces the wires."""

    name: str
    note: str
    pins: tuple[str, ...]

    @property
    def height(self) -> int:
        """How tall the box is drawn."""
        return HEADING + PIN_MARGIN + PIN_PITCH * (len(self.pins) - 1) + PIN_MARGIN - 12


@dataclass(frozen=True, slots=True)
class Wire:
    """From a pin of the board to a pin of one of the parts on the right; `carries` picks the colour.

    With `from_part` it starts at a pin of that part instead of the board.
    """

    carries: str
    from_pin: str
    to_part: str
    to_pin: str
    from_part: str = ""


@dataclass(frozen=True, slots=True)
class Diagram:
    """One drawing."""

    file: str
    title: str
    board: Part
    parts: tuple[Part, ...]
    wires: tuple[Wire, ...]
    notes: tuple[str, ...]


BOARD_WIDTH = 250
PART_WIDTH = 290
BOARD_X = 40
GAP_WIDTH = 350
PART_X = BOARD_X + BOARD_WIDTH + GAP_WIDTH
WIDTH = PART_X + PART_WIDTH + 40
TOP = 84
PART_GAP = 44
PART_SHIFT = PIN_PITCH // 2  # the parts' pins lie between the board's, so that no two wires share a height


Pins = dict[tuple[str, str], tuple[int, int]]
"""Where each pin is, by part ("" for the board) and name."""


def svg(diagram: Diagram) -> str:
    """Return the drawing as SVG text."""
    parts_height = sum(part.height for part in diagram.parts) + PART_GAP * (len(diagram.parts) - 1)
    body = max(diagram.board.height, PART_SHIFT + parts_height)
    height = TOP + body + 40 + 24 * len(diagram.notes) + 16
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}"'
        f' height="{height}" font-family="Helvetica, Arial, sans-serif" role="img">',
        f"<title>{escape(diagram.title)}</title>",
        f'<rect width="{WIDTH}" height="{height}" fill="#ffffff"/>',
        _text(BOARD_X, 44, diagram.title, size=22, weight="bold"),
    ]
    pins = {("", name): (BOARD_X + BOARD_WIDTH, y) for name, y in _pins(diagram.board, TOP)}
    part_tops: list[tuple[Part, int]] = []
    y = TOP + PART_SHIFT
    for part in diagram.parts:
        part_tops.append((part, y))
        pins |= {(part.name, name): (PART_X, pin_y) for name, pin_y in _pins(part, y)}
        y += part.height + PART_GAP
    lines += _wires(diagram.wires, pins)
    lines += _box(diagram.board, BOARD_X, TOP, BOARD_WIDTH, pins_right=True)
    for part, top in part_tops:
        lines += _box(part, PART_X, top, PART_WIDTH, pins_right=False)
    for number, note in enumerate(diagram.notes):
        lines.append(_text(BOARD_X, TOP + body + 44 + 24 * number, note, size=15))
    return "\n".join([*lines, "</svg>", ""])


def _pins(part: Part, top: int) -> Iterator[tuple[str, int]]:
    for number, name in enumerate(part.pins):
        yield name, top + HEADING + PIN_MARGIN - 12 + PIN_PITCH * number


def _wires(wires: tuple[Wire, ...], pins: Pins) -> Iterator[str]:
    """Draw each wire over a lane of its own in the middle; what it carries stands on it."""
    first_lane = BOARD_X + BOARD_WIDTH + LANE
    ordered = sorted(wires, key=lambda wire: _bends_at(wire, pins))
    lanes = {wire: first_lane + LANE * number for number, wire in enumerate(ordered)}
    for wire in wires:
        x1, y1 = pins[wire.from_part, wire.from_pin]
        x2, y2 = pins[wire.to_part, wire.to_pin]
        colour = COLOURS[wire.carries]
        way = f'<path d="M {x1} {y1} H {lanes[wire]} V {y2} H {x2}" fill="none" stroke-linejoin="round"'
        yield f'{way} stroke="#ffffff" stroke-width="10"/>'  # so that a wire that crosses passes over
        yield f'{way} stroke="{colour}" stroke-width="4"/>'
        yield _text(x2 - 12, y2 - 8, wire.carries, size=13, colour=colour, anchor="end")
    for wire in wires:
        start = (wire.from_part, wire.from_pin)
        farthest = max(lanes[other] for other in wires if (other.from_part, other.from_pin) == start)
        if lanes[wire] != farthest:  # a branch of a longer wire
            yield f'<circle cx="{lanes[wire]}" cy="{pins[start][1]}" r="6" fill="{COLOURS[wire.carries]}"/>'


def _bends_at(wire: Wire, pins: Pins) -> int:
    """Return the order of the bends: of wires that go down, the lowest bends first, so that few cross."""
    start = pins[wire.from_part, wire.from_pin][1]
    goes_down = pins[wire.to_part, wire.to_pin][1] >= start
    return -start if goes_down else start


def _box(part: Part, x: int, y: int, width: int, *, pins_right: bool) -> Iterator[str]:
    yield (
        f'<rect x="{x}" y="{y}" width="{width}" height="{part.height}" rx="10" fill="#f3f6f4"'
        ' stroke="#37474f" stroke-width="2"/>'
    )
    yield _text(x + width // 2, y + 26, part.name, size=17, weight="bold", anchor="middle")
    yield _text(x + width // 2, y + 46, part.note, size=13, anchor="middle", colour="#455a64")
    edge = x + width if pins_right else x
    for name, pin_y in _pins(part, y):
        yield f'<rect x="{edge - 7}" y="{pin_y - 7}" width="14" height="14" fill="#d4a017" stroke="#37474f"/>'
        if pins_right:
            yield _text(edge - 16, pin_y + 5, name, size=15, anchor="end")
        else:
            yield _text(edge + 16, pin_y + 5, name, size=15)


def _text(
    x: int,
    y: int,
    text: str,
    *,
    size: int,
    weight: str = "normal",
    anchor: str = "start",
    colour: str = "#1b1b1b",
) -> str:
    return (
        f'<text x="{x}" y="{y}" font-size="{size}" font-weight="{weight}" text-anchor="{anchor}"'
        f' fill="{colour}">{escape(text)}</text>'
    )


def write(folder: Path) -> list[Path]:
    """Write all diagrams into `folder` and return their paths."""
    paths = []
    for diagram in DIAGRAMS:
        path = folder / diagram.file
        path.write_text(svg(diagram), encoding="utf-8", newline="\n")
        paths.append(path)
    return paths


USB = "The board hangs on the USB cable alone: 5 V, extra-low voltage. Nothing here touches the mains."
UNPLUG = "Unplug the USB cable before you move a wire. For longer wires than 30 cm see MOUNTING.md."
NEVER_5_V = "Power the breakout from 3.3 V, never from 5 V: its output must not exceed what the ADC bears."

PHOTODIODE = Part("UV photodiode breakout", "GUVA-S12SD or ML8511", ("VCC", "GND", "OUT", "EN (ML8511 only)"))
THERMOMETER = Part("Thermometer (if wanted)", "TMP36 or alike", ("V+", "GND", "OUT"))
UV_CHIP = Part("UV sensor breakout", "LTR-390UV, VEML6075 or AS7331", ("VIN / 3.3 V", "GND", "SDA", "SCL"))
I2C_THERMOMETER = Part("Thermometer (if wanted)", "MCP9808", ("VDD", "GND", "SDA", "SCL"))
I2C_ADC = Part("16-bit ADC breakout", "ADS1115", ("VDD", "GND", "SDA", "SCL", "A0"))

RP2040_NOTE = "pin numbers as on a Pico"
RP2040_ANALOG = Part(
    "RP2040 board",
    RP2040_NOTE,
    ("3V3 OUT (pin 36)", "AGND (pin 33)", "GP27 / ADC1 (pin 32)", "GP26 / ADC0 (pin 31)"),
)
RP2040_I2C = Part(
    "RP2040 board",
    RP2040_NOTE,
    ("3V3 OUT (pin 36)", "GND (pin 38)", "GP4 / SDA (pin 6)", "GP5 / SCL (pin 7)"),
)
PI_I2C = Part(
    "Raspberry Pi",
    "pin numbers of its 40-pin header",
    ("3V3 (pin 1)", "GND (pin 9)", "GPIO2 / SDA (pin 3)", "GPIO3 / SCL (pin 5)"),
)
ESP32_ANALOG = Part("ESP32 board", "the classic ESP32", ("3V3", "GND", "GPIO35", "GPIO34"))


def _analog(board: Part) -> tuple[Wire, ...]:
    power, ground, temperature, uv = board.pins
    return (
        Wire("3.3 V", power, PHOTODIODE.name, "VCC"),
        Wire("ground", ground, PHOTODIODE.name, "GND"),
        Wire("UV signal", uv, PHOTODIODE.name, "OUT"),
        Wire("enable (3.3 V)", power, PHOTODIODE.name, "EN (ML8511 only)"),
        Wire("3.3 V", power, THERMOMETER.name, "V+"),
        Wire("ground", ground, THERMOMETER.name, "GND"),
        Wire("temperature signal", temperature, THERMOMETER.name, "OUT"),
    )


def _bus(board: Part, part: Part) -> tuple[Wire, ...]:
    carried = ("3.3 V", "ground", "SDA (data)", "SCL (clock)")
    ends = zip(carried, board.pins, part.pins[:4], strict=True)
    return tuple(Wire(carries, from_pin, part.name, to_pin) for carries, from_pin, to_pin in ends)


DIAGRAMS = (
    Diagram(
        file="analog-rp2040.svg",
        title="Analog UV breakout on an RP2040 board",
        board=RP2040_ANALOG,
        parts=(PHOTODIODE, THERMOMETER),
        wires=_analog(RP2040_ANALOG),
        notes=(USB, UNPLUG, NEVER_5_V),
    ),
    Diagram(
        file="analog-esp32.svg",
        title="Analog UV breakout on an ESP32 board",
        board=ESP32_ANALOG,
        parts=(PHOTODIODE, THERMOMETER),
        wires=_analog(ESP32_ANALOG),
        notes=(
            USB,
            UNPLUG,
            NEVER_5_V,
            "The ESP32's ADC is blind under about 0.15 V: for a GUVA-S12SD take an RP2040 or the 16-bit ADC.",
        ),
    ),
    Diagram(
        file="i2c-rp2040.svg",
        title="I²C UV sensor on an RP2040 board",
        board=RP2040_I2C,
        parts=(UV_CHIP, I2C_THERMOMETER),
        wires=(*_bus(RP2040_I2C, UV_CHIP), *_bus(RP2040_I2C, I2C_THERMOMETER)),
        notes=(USB, UNPLUG, "Power it all from 3.3 V. The breakouts bring the pull-up resistors of the bus."),
    ),
    Diagram(
        file="adc-rp2040.svg",
        title="Analog UV breakout through a 16-bit ADC on an RP2040 board",
        board=RP2040_I2C,
        parts=(I2C_ADC, PHOTODIODE),
        wires=(
            *_bus(RP2040_I2C, I2C_ADC),
            Wire("3.3 V", RP2040_I2C.pins[0], PHOTODIODE.name, "VCC"),
            Wire("ground", RP2040_I2C.pins[1], PHOTODIODE.name, "GND"),
            Wire("enable (3.3 V)", RP2040_I2C.pins[0], PHOTODIODE.name, "EN (ML8511 only)"),
            Wire("UV signal", "A0", PHOTODIODE.name, "OUT", from_part=I2C_ADC.name),
        ),
        notes=(USB, UNPLUG, NEVER_5_V),
    ),
    Diagram(
        file="i2c-pi.svg",
        title="I²C UV sensor on the Raspberry Pi's own bus",
        board=PI_I2C,
        parts=(UV_CHIP, I2C_THERMOMETER),
        wires=(*_bus(PI_I2C, UV_CHIP), *_bus(PI_I2C, I2C_THERMOMETER)),
        notes=(
            "The sensor hangs on the Pi alone: 3.3 V, extra-low voltage. Nothing here touches the mains.",
            "Shut the Pi down and unplug it before you move a wire. Never 5 V (pins 2 and 4): that kills it.",
        ),
    ),
)

if __name__ == "__main__":
    for written in write(Path(__file__).parent):
        print(written.name)
