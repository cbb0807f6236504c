"""AS7331: UVA, UVB and UVC through interference filters, and its own temperature.

Registers, bits and gains as an open driver of 2026 uses them (data sheet DS001047 v4-00).  Counts travel as
for gain 1 and 64 ms, whatever the range was: the 385, 347 and 794 counts of 1 µW/cm² of UVA, UVB and UVC at
gain 2048 are 385/2048 and so on here.
"""

TABLE = {
    "name": "as7331",
    "addresses": (0x74, 0x75, 0x76, 0x77),
    "big_endian": False,
    "identity": ((0x02, 1, 0xFF, 0x21),),
    # Where its identity stands there are counts while it measures, and it is left measuring by a board that
    # started again: a restart does not take its power.
    "hidden": (0x00, 1, 0x07, 0x03),
    "show": (0x00, b"\x02"),
    "configure": 0x02,  # written to register 0: stopped, registers open
    "measure": 0x83,  # written to register 0: one measurement, results open
    "state_mask": 0x47,  # of register 0: awake, and which of the two
    "measuring": 0x03,
    "command_mode": 0x40,
    "not_ready": 0x04,
    "overflows": 0xE0,
    "gains": (2048, 1024, 512, 256, 128, 64, 32, 16, 8, 4, 2, 1),  # by the chip's own number for them
    "first_gain": 5,
    # Counts of the fullest channel at which the gain goes down, and up.
    "too_full": 52000,
    "too_empty": 6500,
    # (shortest cadence in ms, the chip's number for 2**n ms, its divider).  The divider keeps the counts at
    # those for 64 ms.  No time of this chip is whole mains half-cycles, but what remains of a full-depth
    # flicker at 100 Hz falls from 4.7 % at 64 ms to 0.4 % at 512 ms.
    "times": ((1000, 9, 0x0A), (500, 8, 0x09), (300, 7, 0x08), (0, 6, 0x00)),
    "channels": (
        {"name": "uva_counts", "unit": "counts", "decimals": 4},
        {"name": "uvb_counts", "unit": "counts", "decimals": 4},
        {"name": "uvc_counts", "unit": "counts", "decimals": 4},
        {"name": "temperature_c", "unit": "C", "decimals": 2},
    ),
}
