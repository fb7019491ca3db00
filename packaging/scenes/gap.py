"""A pickup's gap, round an invented wheel; a bent tooth; a drop-out run; a shop's list."""

GAPS = ("1/16", "0.070", "0.085", "0.075")
"""Feeler readings at 0, 90, 180 and 270 degrees, in inches."""
SEASON = (
    ("Digger 4 / left", ("1/16", "0.066", "0.071", "0.066")),
    ("Digger 4 / right", ("0.118", "0.128", "0.142", "0.131")),
    ("Digger 7 / left", ("0.060", "0.063", "0.065", "0.062")),
    ("Digger 7 / right", ("0.066", "0.070")),
    ("Digger 9 / left", ("0.055", "0.058", "0.062", "0.058")),
    ("Digger 9 / right", ()),
    ("Digger 12 / left", ()),
    ("Digger 12 / right", ()),
)


def caution(studio):
    studio.use("sim:bent-tooth?seed=1")
    studio.run(5)
    studio.show("Gap", caution_read=False)


def empty(studio):
    studio.show("Gap")


def half_way(studio):
    _read(studio.show("Gap"), GAPS[:2])


def wrong_entry(studio):
    page = studio.show("Gap")
    page.feeler.gap.setText("1.6")
    page.feeler.gap.returnPressed.emit()


def verdict(studio):
    page = studio.show("Gap")
    page.feeler.gap.clear()
    _read(page, GAPS[2:])


def tooth_run(studio):
    from workbench.gui.gap.page import GapView

    _run(studio, GapView.TEETH, 20)


def bent_tooth(studio):
    _stop(studio)


def drop_out_run(studio):
    from workbench.gui.gap.page import GapView

    studio.use("sim:drop-out-run?seed=3")
    studio.run(5)
    studio.show("Gap").job.list.use_machine_in_use()
    _run(studio, GapView.DROP_OUT, 100)


def drop_out(studio):
    studio.run(60)
    _stop(studio)


def batch(studio):
    from workbench.gui.gap.page import GapView

    page = studio.show("Gap")
    page.show_view(GapView.FEELER)
    job = page.job
    for name, readings in SEASON:
        job.list.add(name)
        _read(page, readings)
    job.list.go_to(4)
    studio.window.resize(1024, 600)
    studio.rest()
    page.show_view(GapView.LIST)
    studio.rest()


def another_machine(studio):
    from workbench.gui.gap.page import GapView

    studio.use("sim:healthy?seed=1")
    page = studio.show("Gap")
    page.job.list.add("Digger 14 / left")
    _read(page, ("0.060", "0.066", "0.071", "0.062"))
    page.job.list.go_to(1)
    page._keep()
    studio.rest()
    page.show_view(GapView.FEELER)
    studio.rest()


def report(studio):
    page = studio.show("Gap")
    page.see_list_report()
    studio.rest()
    studio.rest()


def _read(page, readings):
    for reading in readings:
        page.feeler.gap.setText(reading)
        page.feeler.gap.returnPressed.emit()


def _run(studio, view, for_s):
    page = studio.show("Gap")
    page.show_view(view)
    studio.show("Gap")
    studio.rest()
    page.job.choose_channel("left")
    page.refresh()
    page.runs[view].start.click()
    studio.run(for_s)
    studio.rest()
    page.refresh()


def _stop(studio):
    page = studio.show("Gap")
    page.runs[page.view].start.click()
    studio.rest()


STATES = (
    caution,
    empty,
    half_way,
    wrong_entry,
    verdict,
    tooth_run,
    bent_tooth,
    drop_out_run,
    drop_out,
    batch,
    another_machine,
    report,
)
