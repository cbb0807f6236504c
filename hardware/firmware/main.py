"""A baskline board: reads its UV sensor, tells the host, and answers the host's questions."""

import gc
import sys
import time
from array import array

import micropython

import board
import machine
import ring
import sensors
import settings
import wire
from link import Link

WATCHDOG_MS = 8000  # the RP2040 allows 8388 at most
LONGEST_WAIT_MS = 1000  # well under the watchdog's
REPLAY_MARGIN_MS = 30  # a replayed line takes less, so live readings stay in time
REPLAYS_WAITING = 8
CTRL_C = 3
REPL_MS = 600_000  # how long the keeper may work at the prompt before the watchdog restarts the board

at_the_prompt = []  # the timer that works then: not every port keeps from collection what nobody holds


class Firmware:
    """The board's whole work, one small step at a time."""

    def __init__(self, link, parts, cadence_ms, ticks):
        self._link = link
        self._parts = parts
        self._cadence_ms = cadence_ms
        self._ticks = ticks
        self._board = board.identity()
        self._boot = board.new_boot()
        self._clock = board.Clock(ticks)
        self._values = array("i", bytes(4 * len(parts.channels)))
        self._ring = ring.make(len(parts.channels))
        self._replays = []  # (boot, first_seq, last_seq) as asked for; the first is being answered
        self._replay_next = None  # its next sequence number, once begun
        self._replay_range = None  # (boot, first_seq, last_seq) of it that is still here
        self._due = ticks.ticks_add(ticks.ticks_ms(), parts.lead_ms)
        self._begun = False

    def step(self):
        """Do what is due: begin or take a reading, replay a line, wait for the host; then answer the host."""
        to_wait_ms = self._ticks.ticks_diff(self._due, self._ticks.ticks_ms())
        if not self._begun:
            to_wait_ms -= self._parts.lead_ms
            if to_wait_ms <= 0:
                self._begun = True
                self._parts.begin()
                to_wait_ms += self._parts.lead_ms
        if to_wait_ms <= 0:
            self._begun = False
            self._measure()
            to_wait_ms = 0
        busy = self._replays and to_wait_ms > REPLAY_MARGIN_MS
        if busy:
            self._replay_one()
        line = self._link.next_line(0 if busy else min(to_wait_ms, LONGEST_WAIT_MS))
        if line is not None:
            self._answer(line)

    def hello(self):
        """Introduce the board to the host."""
        if self._parts.refusal:
            self._link.write(self._parts.refusal.encode() + b"\n")  # for the keeper, who may be watching
        self._link.write(
            wire.hello(
                self._board,
                self._boot,
                board.FIRMWARE,
                self._parts.name,
                self._cadence_ms,
                self._ring.capacity,
                self._parts.channels,
            )
        )

    def _measure(self):
        marks = self._parts.read(self._values)
        self._clock.update()
        # A whole number of cadences on, so that readings that were held up do not come in a rush.
        late_ms = self._ticks.ticks_diff(self._ticks.ticks_ms(), self._due)
        missed = late_ms // self._cadence_ms
        self._due = self._ticks.ticks_add(self._due, (missed + 1) * self._cadence_ms)
        seq = self._ring.add(self._clock.whole_s, self._clock.ms, self._values, marks)
        self._send("r", seq, self._clock.whole_s, self._clock.ms, marks)
        gc.collect()  # now, rather than in the middle of the next measurement

    def _send(self, verb, seq, whole_s, ms, marks):
        board_ms = wire.milliseconds(whole_s, ms)
        self._link.write(
            wire.reading(
                verb, self._board, self._boot, seq, board_ms, self._parts.channels, self._values, marks
            )
        )

    def _answer(self, line):
        request = wire.parse_request(line)
        if request is None:
            return
        verb = request[0]
        if verb == "hello?":
            self.hello()
        elif verb == "time?":
            self._clock.update()
            board_ms = wire.milliseconds(self._clock.whole_s, self._clock.ms)
            self._link.write(wire.time(self._board, self._boot, request[1], board_ms))
        elif len(self._replays) < REPLAYS_WAITING:
            self._replays.append(request[1:])

    def _replay_one(self):
        """Send one line of the replay that has waited longest."""
        if self._replay_next is None:
            self._start_replay(*self._replays[0])
        boot, first, last = self._replay_range
        seq = max(self._replay_next, self._ring.first_seq)
        if seq <= last:
            whole_s, ms, marks = self._ring.load(seq, self._values)
            self._send("p", seq, whole_s, ms, marks)
            self._replay_next = seq + 1
        else:
            self._link.write(wire.end(self._board, boot, first, last))
            self._replay_next = None
            self._replays.pop(0)

    def _start_replay(self, boot, first, last):
        """Work out what is still here of the range that was asked for."""
        here_first = max(first, self._ring.first_seq)
        here_last = min(last, self._ring.next_seq - 1)
        if boot != self._boot or here_last < here_first:
            here_first, here_last = first, first - 1
        self._replay_range = (boot, here_first, here_last)
        self._replay_next = here_first


def run():
    """Work until someone presses Ctrl-C at the start of a line."""
    chosen = settings.load()
    link = Link()
    firmware = Firmware(link, sensors.find(chosen), chosen["cadence_ms"], time)
    watchdog = machine.WDT(timeout=WATCHDOG_MS) if chosen["watchdog"] and hasattr(machine, "WDT") else None
    micropython.kbd_intr(-1)  # a stray Ctrl-C on a noisy line is no reason to stop
    firmware.hello()
    told = None
    while not link.stopped:
        try:
            firmware.step()
            if watchdog:
                watchdog.feed()
        except Exception as error:
            # Nothing that goes wrong once ends the watch; what goes wrong always starves the watchdog.
            gc.collect()
            if repr(error) != told:
                told = repr(error)
                sys.print_exception(error, sys.stdout)  # for the keeper, who may be watching
            time.sleep_ms(100)
    micropython.kbd_intr(CTRL_C)
    if watchdog:
        _feed_while_at_the_prompt(watchdog)


def _feed_while_at_the_prompt(watchdog):
    """Let the keeper copy files in peace, but not for ever: a running watchdog cannot be stopped."""
    feeds_left = REPL_MS // LONGEST_WAIT_MS

    def feed(_):
        nonlocal feeds_left
        if feeds_left > 0:
            feeds_left -= 1
            watchdog.feed()

    timer = machine.Timer(0 if sys.platform == "esp32" else -1)  # older ESP32 ports have no virtual timers
    timer.init(period=LONGEST_WAIT_MS, mode=machine.Timer.PERIODIC, callback=feed)
    at_the_prompt.append(timer)


if __name__ == "__main__":
    run()
