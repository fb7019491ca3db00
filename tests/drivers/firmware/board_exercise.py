"""A run of the board's core, the same in every interpreter; see test_firmware.py."""

START = 2**32 - 3000000


def ticks():
    """400 ticks from quick to slow, not taken modulo 2**32."""
    out = []
    tick = START
    for step in range(400):
        tick += 1000 + step * step * 7919 % 250007
        out.append(tick)
    return out


def run(core):
    """Overload, wrapping ticks and a fall that never comes; everything as plain values."""
    channels = [("left", core.PICKUP, core.FALLS), ("gnd", core.RADAR, 0), ("v", 7, core.PEAKS)]
    board = core.PulseCounter("bench counter µ", 2500000, 77, channels)
    wire = [board.poll(START).hex()]
    for step, tick in enumerate(ticks()):
        board.rise(step % 3, tick, step * 7)
        if step % 3 == 0 and step % 5:
            board.fall(0, tick + 900)
        if step == 200:
            board.missed(1, 12345)
        if step % 4 == 0:
            wire.append(board.poll(tick + 950).hex())
    ring = core.Ring([10 * k for k in range(16)])
    refused = []
    for size in (0, core.MOST_PAYLOAD, core.MOST_PAYLOAD + 1):
        try:
            core.frame(bytes(size))
        except ValueError as error:
            refused.append(str(error))
    rings = [list(ring.take(n)) for n in (3, 3, 15, 40, 41)]
    return {"wire": wire, "rings": rings, "refused": refused, "crc": core.crc16(b"123456789")}
