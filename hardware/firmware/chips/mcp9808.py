"""MCP9808: a thermometer, to sit beside the UV sensor.

Registers, identities and the 1/16 °C step as an open driver of 2026 uses them.
"""

TABLE = {
    "name": "mcp9808",
    "addresses": (0x18, 0x19, 0x1A, 0x1B, 0x1C, 0x1D, 0x1E, 0x1F),
    "big_endian": True,
    "identity": ((0x06, 2, 0xFFFF, 0x0054), (0x07, 2, 0xFF00, 0x0400)),
    # On; and an upper limit of 80 °C, which serves for nothing but to tell that it was reset: its power-on
    # settings are else the ones wanted here, and after a reset it says 0 °C until it has measured.
    "setup": ((0x01, b"\x00\x00"), (0x02, b"\x05\x00")),
    "kept": ((0x01, 2, 0x0100, 0x0000), (0x02, 2, 0x1FFC, 0x0500)),
    "settle_ms": 300,  # one conversion at its finest step takes 250, more where its clock is slow
    "ready": None,
    "patience_ms": 0,
    "channels": (
        {
            "name": "temperature_c",
            "unit": "C",
            "decimals": 4,
            "register": 0x05,
            "bytes": 2,
            "mask": 0x1FFF,
            "sign": 0x1000,
            "times": 625,
        },
    ),
}
