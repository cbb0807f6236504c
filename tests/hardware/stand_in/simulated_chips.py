"""Chips on the stand-in's I2C bus, by their registers and their timing.

Plain Python for both interpreters.  `light` is what falls on the chip, a dictionary that the bench writes;
`now_ms` is the bus's time.  All that a chip holds stands in its attributes, as numbers and bytes.  Until a
measurement is over its registers hold the one before.
"""


class Chip:
    """Byte registers; reading and writing go on to the next register."""

    power_on = {}
    slow_percent = 0  # its own clock against the one of its data sheet, which is rarely better than 10 %

    def __init__(self):
        self.light = {}
        self.now_ms = 0
        self.reset()

    def reset(self):
        """What a power cut leaves."""
        self.registers = bytearray(256)
        for register, value in self.power_on.items():
            self.registers[register] = value

    def write(self, register, data):
        for offset, byte in enumerate(data):
            self.registers[register + offset] = byte

    def read(self, register, n):
        return bytes(self.registers[register : register + n])

    def lasts_ms(self, by_data_sheet_ms):
        """How long this chip takes for it."""
        return by_data_sheet_ms * (100 + self.slow_percent) / 100


class Ltr390(Chip):
    """Standby at power-on; in UV mode a result each 100 ms, the first one after the change of mode spoilt."""

    power_on = {0x04: 0x22, 0x05: 0x01, 0x06: 0xB2, 0x07: 0x20}
    GAINS = (1, 3, 6, 9, 18)
    PERIODS_MS = (400, 200, 100, 50, 25)
    WAKES_MS = 10  # from standby: from memory of its data sheet

    def reset(self):
        super().reset()
        self._on_since_ms = None
        self._done = 0

    def write(self, register, data):
        super().write(register, data)
        if register == 0x00:
            self._on_since_ms = self.now_ms + self.WAKES_MS if data[0] & 0x0A == 0x0A else None
            self._done = 0

    def read(self, register, n):
        if self._on_since_ms is not None:
            self._measure()
        said = super().read(register, n)
        if register == 0x07:
            self.registers[0x07] &= ~0x08 & 0xFF
        return said

    def _measure(self):
        resolution = self.registers[0x04] >> 4
        period_ms = self.PERIODS_MS[resolution]
        done = (self.now_ms - self._on_since_ms) // self.lasts_ms(period_ms)
        if done <= self._done:
            return
        self._done = done
        self.registers[0x07] |= 0x08
        counts = self.light.get("uv", 0) * self.GAINS[self.registers[0x05]] / 18
        counts = int(counts * period_ms / 100)
        counts = 0x5A5A if done < 2 else min(counts, (1 << (20 - resolution)) - 1)
        self.registers[0x10:0x13] = bytes((counts & 0xFF, counts >> 8 & 0xFF, counts >> 16 & 0x0F))


class Veml6075(Chip):
    """Words, low byte first; the first results one integration time after it was switched on."""

    power_on = {0x00: 0x01, 0x0C: 0x26}
    TIMES_MS = (50, 100, 200, 400, 800)
    CHANNELS = {0x07: "uva", 0x08: "dark", 0x09: "uvb", 0x0A: "comp1", 0x0B: "comp2"}

    def reset(self):
        super().reset()
        self._on_since_ms = None
        self._done = 0
        self._results = {}

    def write(self, register, data):
        if register != 0x00 or len(data) != 2:
            return
        was_off = self.registers[0x00] & 0x01
        self.registers[0x00] = data[0]
        if data[0] & 0x01:
            self._on_since_ms = None
        elif was_off or self._on_since_ms is None:
            self._on_since_ms = self.now_ms
            self._done = 0

    def read(self, register, n):
        if register in self.CHANNELS:
            self._measure()
            counts = self._results.get(register, 0)
            return bytes((counts & 0xFF, counts >> 8))[:n]
        return bytes((self.registers[register], 0))[:n]

    def _measure(self):
        if self._on_since_ms is None:
            return
        time_ms = self.TIMES_MS[self.registers[0x00] >> 4 & 0x07]
        done = (self.now_ms - self._on_since_ms) // self.lasts_ms(time_ms)
        if done > self._done:
            self._done = done
            for register, name in self.CHANNELS.items():
                counts = self.light.get(name, 0) * time_ms // 100
                self._results[register] = min(counts >> (self.registers[0x00] >> 3 & 0x01), 0xFFFF)


class Mcp9808(Chip):
    """Words, high byte first, each with its own register number; measures from its power-on, each 250 ms."""

    CONVERTS_MS = 250

    def reset(self):
        super().reset()
        self._words = {0x01: 0, 0x02: 0, 0x05: 0, 0x06: 0x0054, 0x07: 0x0400}
        self._on_since_ms = self.now_ms
        self._done = 0

    def write(self, register, data):
        if register in (0x01, 0x02):
            self._words[register] = data[0] << 8 | data[1]

    def read(self, register, n):
        done = (self.now_ms - self._on_since_ms) // self.lasts_ms(self.CONVERTS_MS)
        if done > self._done:
            self._done = done
            # Three bits beside it tell how it stands to limits that the firmware does not use.
            self._words[0x05] = 0xC000 | (int(self.light.get("celsius", 25) * 16) & 0x1FFF)
        word = self._words.get(register, 0)
        return bytes((word >> 8, word & 0xFF))[:n]


class As7331(Chip):
    """Two sets of registers: one while it is being configured, another while it measures."""

    def reset(self):
        self.osr = 0x42
        self.creg = bytearray((0xA6, 0x40, 0x50))
        self.results = bytes(6)
        self.temperature = 0
        self.status = 0
        self._ends_ms = None
        self._set_for = None

    def write(self, register, data):
        if register == 0x00:
            if data[0] & 0x08:
                self.reset()
                return
            self.osr = data[0]
            if self.osr & 0x07 == 0x03 and self.osr & 0x80 and not self.osr & 0x40:
                self._set_for = bytes(self.creg)
                self._ends_ms = self.now_ms + self.lasts_ms(1 << (self.creg[0] & 0x0F))
                self.status = 0x04
        elif self.osr & 0x07 == 0x02:  # elsewhere the registers are closed
            for offset, byte in enumerate(data):
                if 0x06 <= register + offset <= 0x08:
                    self.creg[register + offset - 0x06] = byte

    def read(self, register, n):
        self._finish()
        if self.osr & 0x07 == 0x02:
            there = {0x00: self.osr, 0x02: 0x21, 0x06: self.creg[0], 0x07: self.creg[1], 0x08: self.creg[2]}
            return bytes(there.get(register + offset, 0) for offset in range(n))
        if register == 0x00:
            said = bytes((self.osr, self.status))[:n]
            self.status &= ~0x08 & 0xFF
            return said
        if register == 0x01:
            return bytes((self.temperature & 0xFF, self.temperature >> 8))[:n]
        return self.results[2 * (register - 0x02) :][:n]

    def _finish(self):
        if self._ends_ms is None or self.now_ms < self._ends_ms:
            return
        self._ends_ms = None
        self.osr &= 0x7F  # in command mode it stops by itself
        gain = 2048 >> (self._set_for[0] >> 4)
        exponent = self._set_for[0] & 0x0F
        divider = 2 << (self._set_for[1] & 0x07) if self._set_for[1] & 0x08 else 1
        self.status = 0x08
        words = []
        for name in ("uva", "uvb", "uvc"):
            # The light is given in counts at gain 1 and 64 ms.
            clocked = int(self.light.get(name, 0) * gain * (1 << exponent) / 64)
            most = 1024 << exponent
            if clocked >= most:
                self.status |= 0x20
                clocked = most - 1
            counts = clocked // divider
            if counts > 0xFFFF:
                self.status |= 0x40
                counts &= 0xFFFF
            words.append(counts)
        self.results = b"".join(bytes((word & 0xFF, word >> 8)) for word in words)
        self.temperature = int((self.light.get("celsius", 25) + 66.9) / 0.05 + 0.5)


class Ads1115(Chip):
    """One conversion at a time; what stands at the input when it starts counts.

    To be told to start while it converts has no effect; its clock may be slow.
    """

    def reset(self):
        self.config = 0x8583
        self._result = 0
        self._next = None
        self._ends_ms = None

    def write(self, register, data):
        if register == 0x01:
            self.config = data[0] << 8 | data[1]
            if self.config & 0x8000 and not self._busy():
                self._finish()
                full_mv = (6144, 4096, 2048, 1024, 512, 256, 256, 256)[self.config >> 9 & 0x07]
                per_second = (8, 16, 32, 64, 128, 250, 475, 860)[self.config >> 5 & 0x07]
                counts = int(self.light.get("mv", 0) / full_mv * 32768 + 0.5)
                self._next = max(-32768, min(counts, 32767))
                self._ends_ms = self.now_ms + self.lasts_ms(1000 / per_second + 0.025)

    def read(self, register, n):
        busy = self._busy()
        if not busy:
            self._finish()
        word = self._result if register == 0x00 else self.config & 0x7FFF | (0 if busy else 0x8000)
        return bytes((word >> 8 & 0xFF, word & 0xFF))[:n]

    def _busy(self):
        return self._ends_ms is not None and self.now_ms < self._ends_ms

    def _finish(self):
        if self._next is not None:
            self._result, self._next = self._next, None


class Si1145(Chip):
    """Only says who it is."""

    power_on = {0x00: 0x45}


KINDS = {
    "ltr390": Ltr390,
    "veml6075": Veml6075,
    "mcp9808": Mcp9808,
    "as7331": As7331,
    "ads1115": Ads1115,
    "si1145": Si1145,
}
