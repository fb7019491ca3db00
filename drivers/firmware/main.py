"""The part of the pulse counter's program that needs pins: MicroPython on an RP2040 board.

NOT TESTED ON HARDWARE: written from the data sheet and MicroPython's documentation.
What it calls, `counter_core.py`, is tested in CPython and in MicroPython. Copy both files
to the board's root; WIRING.md says what goes to which pin, PROTOCOL.md what comes out.

Each input has its own state machine of the programmable I/O, which counts time down in
`x`, two of its cycles a tick, and hands out the count at every edge. All are started by
one write, so they share one time. DMA carries the counts into a ring in memory, so no edge
waits for this program; only where it falls behind by a whole ring are ticks lost, and
those edges are still counted.
"""

# mypy: ignore-errors
# ruff: noqa: F821  (the assembler's words are known inside asm_pio only)

import os
import sys
import time

import machine
import rp2
import uctypes
from counter_core import FALLS, LAP_MARK, MASK_32, PICKUP, RADAR, PulseCounter, Ring

BOARD = "pulse counter"
INPUTS = (
    # pin, name, kind
    (10, "left", PICKUP),
    (11, "right", PICKUP),
    (12, "lap", LAP_MARK),
    (13, "radar", RADAR),
)
CPU_HZ = 125_000_000
PIO_HZ = 5_000_000
CLOCK_HZ = PIO_HZ // 2

RING_BITS = 12
RING_BYTES = 1 << RING_BITS
PIO0 = 0x50200000
PIO0_CTRL_SET = PIO0 + 0x2000
PIO0_RXF0 = PIO0 + 0x20
DREQ_PIO0_RX0 = 4


@rp2.asm_pio(autopush=True, push_thresh=32, fifo_join=rp2.PIO.JOIN_RX)
def time_edges():
    # Every way round takes two cycles for each step of x, so x keeps time whatever the pin
    # does; only where x passes 0, once in 2**32 ticks, a cycle is added.
    wrap_target()
    label("low")
    jmp(pin, "rise")
    jmp(x_dec, "low")
    jmp("low")
    label("rise")
    in_(x, 32)
    jmp(x_dec, "rose")
    label("rose")
    jmp(x_dec, "high")
    label("high")
    jmp(pin, "stay")
    in_(x, 32)
    jmp(x_dec, "fell")
    label("fell")
    jmp(x_dec, "low")
    jmp("low")
    label("stay")
    jmp(x_dec, "high")
    jmp("high")
    wrap()


class MemoryWords:
    """32-bit words at an address, as `Ring` wants them."""

    def __init__(self, address, n):
        self._address = address
        self._n = n

    def __len__(self):
        return self._n

    def __getitem__(self, index):
        return machine.mem32[self._address + 4 * index] & MASK_32


class Input:
    """One pin: its state machine, its DMA channel, its ring."""

    def __init__(self, number, pin):
        self._pin = machine.Pin(pin, machine.Pin.IN, machine.Pin.PULL_UP)
        self._machine = rp2.StateMachine(number, time_edges, freq=PIO_HZ, jmp_pin=self._pin)
        self._machine.exec("mov(x, invert(null))")
        # DMA wraps by address bits, so the ring must lie on a multiple of its size.
        self._memory = bytearray(2 * RING_BYTES)
        address = (uctypes.addressof(self._memory) + RING_BYTES - 1) & ~(RING_BYTES - 1)
        self._dma = rp2.DMA()
        self._dma.config(
            read=PIO0_RXF0 + 4 * number,
            write=address,
            count=MASK_32,
            ctrl=self._dma.pack_ctrl(
                size=2,
                inc_read=False,
                inc_write=True,
                ring_sel=True,
                ring_size=RING_BITS,
                treq_sel=DREQ_PIO0_RX0 + number,
            ),
            trigger=True,
        )
        self._ring = Ring(MemoryWords(address, RING_BYTES // 4))

    def hand_on(self, board, channel):
        """Give the board what came since the last call."""
        written = MASK_32 - (self._dma.count & MASK_32)
        lost, first, words = self._ring.take(written)
        if lost:
            board.missed(channel, lost)
        for index, word in enumerate(words, first):
            tick = MASK_32 - word
            if index == 0 and tick < 4:
                continue  # a pin that was high from the start has not risen
            if index & 1:
                board.fall(channel, tick)
            else:
                board.rise(channel, tick)


def run():
    """Count for ever."""
    machine.freq(CPU_HZ)
    inputs = [Input(number, pin) for number, (pin, _, _) in enumerate(INPUTS)]
    channels = [(name, kind, FALLS) for _, name, kind in INPUTS]
    boot = int.from_bytes(os.urandom(4), "little")
    board = PulseCounter(BOARD, CLOCK_HZ, boot, channels)
    before, passed_us = time.ticks_us(), 0
    # Enables the four state machines and restarts their clock dividers in one cycle.
    machine.mem32[PIO0_CTRL_SET] = 0xF0F
    sys.stdout.buffer.write(b"\x00")
    while True:
        for channel, one in enumerate(inputs):
            one.hand_on(board, channel)
        now = time.ticks_us()
        passed_us += time.ticks_diff(now, before)
        before = now
        data = board.poll(passed_us * CLOCK_HZ // 1_000_000)
        if data:
            sys.stdout.buffer.write(data)
        time.sleep_ms(2)


run()
