"""VEML6075: UVA, UVB, and two channels for what leaks through of visible and infrared light.

Registers and bits as an open driver of 2026 uses them.  The maker's formula from the four counts to UV Index
holds for sunlight; the host calibrates under the lamp instead, so the counts travel as they are.
"""

_COUNTS = {"unit": "counts", "decimals": 0, "bytes": 2, "mask": 0xFFFF, "full": 0xFFFF}

TABLE = {
    "name": "veml6075",
    "addresses": (0x10,),
    "big_endian": False,
    "identity": ((0x0C, 1, 0xFF, 0x26),),
    # Off; then on, 100 ms, normal dynamic range: 65535 counts are far beyond any lamp.
    "setup": ((0x00, b"\x11\x00"), (0x00, b"\x10\x00")),
    "kept": ((0x00, 1, 0x7F, 0x10),),
    "settle_ms": 220,
    "ready": None,  # it has no such flag: the registers always hold the last whole measurement
    "patience_ms": 0,
    "channels": (
        dict(_COUNTS, name="uva_counts", register=0x07),
        dict(_COUNTS, name="uvb_counts", register=0x09),
        dict(_COUNTS, name="comp1_counts", register=0x0A),
        dict(_COUNTS, name="comp2_counts", register=0x0B),
    ),
}
