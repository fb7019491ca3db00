"""What comes in."""


def live(studio):
    studio.show("Signals")
    studio.run(30)


def recording(studio):
    studio.show("Signals")
    studio.bench.recording.start("north field")
    studio.run(42)


def nothing(studio):
    studio.bench.recording.stop()
    studio.bench.use_inputs([])
    studio.show("Signals")


STATES = (live, recording, nothing)
