"""A pickup's gap, round an invented wheel."""

GAPS = ((0, "1/16"), (90, "0.070"), (180, "0.085"), (270, "0.075"))
"""Feeler readings: angle in degrees, gap in inches."""


def caution(studio):
    studio.use("sim:bent-tooth?seed=1")
    studio.run(5)
    studio.show("Gap", caution_read=False)


def readings(studio):
    page = studio.show("Gap")
    for angle, reading in GAPS:
        page._angle.setText(str(angle))
        page._gap.setText(reading)
        page._gap.returnPressed.emit()
    studio.run(10)


STATES = (caution, readings)
