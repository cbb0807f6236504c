"""LTR-390UV-01: one UV channel, 280 to 430 nm, so it sees some violet light too.

Registers and bits as an open driver of 2026 uses them (an early and a later data sheet differ in the counts
for one UV Index, not in the registers).
"""

TABLE = {
    "name": "ltr390",
    "addresses": (0x53,),
    "big_endian": False,
    "identity": ((0x06, 1, 0xF0, 0xB0),),  # (register, bytes, mask, value): the part number, any revision
    # Standby; 18 bits in 100 ms, each 100 ms; gain 18; UV mode, on.  At that gain 18 bits reach beyond any
    # lamp, so there is no ranging.
    "setup": ((0x00, b"\x00"), (0x04, b"\x22"), (0x05, b"\x04"), (0x00, b"\x0a")),
    "kept": ((0x00, 1, 0x1A, 0x0A), (0x04, 1, 0x77, 0x22), (0x05, 1, 0x07, 0x04)),
    "settle_ms": 250,  # the first result after a change of mode is not to be used
    "ready": (0x07, 1, 0x08, 0x08),
    "patience_ms": 250,
    "channels": (
        {
            "name": "uv_counts",
            "unit": "counts",
            "decimals": 0,
            "register": 0x10,
            "bytes": 3,
            "mask": 0x0FFFFF,
            "full": 0x03FFFF,
        },
    ),
}
