"""ADS1115: a 16-bit ADC with four inputs, for an analog breakout on a board with a poor ADC or none.

Registers and bits as an open driver of 2026 uses them.
"""

TABLE = {
    "name": "ads1115",
    "addresses": (0x48, 0x49, 0x4A, 0x4B),
    "big_endian": True,
    "result": 0x00,
    "config": 0x01,
    "after_power_on": 0x8583,
    # Start one conversion of input 0 against ground, ±4.096 V, at 860 a second, comparator off.
    "start": 0xC3E3,
    "busy_mask": 0x8000,
    "counts_per_mv": 8,
    "rail_counts": 25872,  # 98 % of the breakout's own supply of 3.3 V, beyond which its amplifier cannot go
    # 1.16 ms, and the 25 µs of waking up, when its clock is 10 % slow, as it may be (from memory of its data
    # sheet).
    "converts_us": 1350,
    # (shortest window in µs, samples in it): prime numbers, as in analog.py.  A sample takes three transfers
    # (1.3 ms at 100 kHz) beside its conversion, so there is time for these and not for many more.
    "samples": ((100_000, 29), (0, 13)),
}
