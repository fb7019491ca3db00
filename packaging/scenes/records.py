"""What is kept: a season of an invented machine, each state of the page."""

import shutil
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

FIRST_DAY = datetime(2026, 9, 14, 14, 5, tzinfo=UTC)
PASSES = (
    # days after the first, scenario, seed, field
    (0, "healthy", 11, "north field"),
    (4, "healthy", 12, "creek field"),
    (9, "healthy", 13, "long rows"),
    (15, "cold-oil", 14, "north field, early"),
    (22, "bumped-valve", 15, "creek field"),
    (26, "valve-off", 16, "long rows"),
    (33, "healthy", 17, "hill field"),
)
CALIBRATIONS = ((1, 0.006), (12, 0.009), (23, 0.024), (27, -0.002), (34, 0.003))
"""Days after the first, and by how much the readout showed too much."""
GAPS = (
    (2, (1.62, 1.70, 1.86, 1.74)),
    (13, (1.66, 1.74, 1.92, 1.78)),
    (24, (2.05, 2.40, 3.35, 2.70)),
    (28, (1.60, 1.66, 1.80, 1.70)),
    (35, (1.61, 1.68, 1.84, 1.73)),
)
"""Days after the first, and the gaps read at the four quarters, mm."""
SEASON = []
"""The folder of the store, once that is filled; gone with the program."""


def empty(studio):
    studio.bench.store = str(Path(studio.bench.store).with_name("empty.db"))
    studio.show("Records")


def listing(studio):
    studio.bench.store = str(Path(studio.bench.store).with_name("season.db"))
    shutil.copy(season_store(studio.window.tick), studio.bench.store)
    studio.show("Records").reload()
    rest(studio)


def recording(studio):
    choose(studio, ("recording", 5))


def judged(studio):
    choose(studio, ("pass", 5))


def calibration(studio):
    choose(studio, ("calibrate", 2))


def gap(studio):
    choose(studio, ("gap", 2))


def wheel(studio):
    choose(studio, ("gap", -1))


def named(studio):
    choose(studio, ("pass", 3)).panel.name_it("Before the valve was found loose", "dry, sandy")
    rest(studio)
    choose(studio, ("pass", 3)).panel.start_naming()


def verified(studio):
    page = choose(studio, ("pass", 5))
    page.buttons.menu_actions["Verify"].trigger()
    rest(studio)


def compared_passes(studio):
    choose(studio, ("pass", 0), ("pass", 5))


def compared_calibrations(studio):
    choose(studio, ("calibrate", 2), ("calibrate", 3))


def compared_recordings(studio):
    choose(studio, ("recording", 0), ("recording", 5))


def filtered(studio):
    page = choose(studio)
    page.filter.words.setText("fail")
    rest(studio)


def season_ratio(studio):
    page = choose(studio)
    page.filter.show_everything()
    page.aside.click()
    rest(studio)


def season_error(studio):
    _quantity(studio, "Readout error as found")


def season_gap(studio):
    _quantity(studio, "Gap at left")


def deleted(studio):
    page = studio.show("Records")
    page.aside.click()
    choose(studio, ("recording", 6))
    page.buttons.delete.click()
    rest(studio)


def deleted_shown(studio):
    page = studio.show("Records")
    page.filter.deleted.click()
    page.list.choose([page.list.shown[0].key])
    page.list.opened.emit()
    rest(studio)


def trouble(studio):
    studio.show("Records").filter.show_everything()
    broken = Path(studio.bench.store).with_name("notes.db")
    broken.write_text("this is not a store\n", encoding="utf-8")
    studio.bench.store = str(broken)
    studio.show("Records").reload()
    rest(studio)


STATES = (
    empty,
    listing,
    recording,
    judged,
    calibration,
    gap,
    wheel,
    named,
    verified,
    compared_passes,
    compared_calibrations,
    compared_recordings,
    filtered,
    season_ratio,
    season_error,
    season_gap,
    deleted,
    deleted_shown,
    trouble,
)


def rest(studio):
    """Until the page has nothing left to do; one thing it opens may bring another."""
    studio.rest()
    while studio.show("Records").works.busy:
        studio.rest()


def choose(studio, *wanted):
    """Choose entries by kind and place, the oldest first."""
    page = studio.show("Records")
    keys = []
    for kind, at in wanted:
        of_kind = [one for one in reversed(page._entries) if one.kind == kind]
        keys.append(of_kind[at].key)
    page.list.choose(keys)
    page.list.opened.emit()
    rest(studio)
    return page


def _quantity(studio, title):
    view = studio.show("Records").season
    view.quantities.setCurrentIndex(view.quantities.findText(title))
    view.quantities.activated.emit(view.quantities.currentIndex())


def season_store(seen):
    """A store filled once, copied for every theme; `seen` is called now and then."""
    if not SEASON:
        SEASON.append(tempfile.TemporaryDirectory())
        path = Path(SEASON[0].name) / "season.db"
        machine = _machine("healthy")
        for fill, rows in ((_pass, PASSES), (_calibration, CALIBRATIONS), (_gap, GAPS)):
            for days, *rest in rows:
                fill(path, FIRST_DAY + timedelta(days=days), machine, *rest)
                seen()
        _wheel(path, FIRST_DAY + timedelta(days=36), machine)
    return Path(SEASON[0].name) / "season.db"


def _machine(scenario):
    from drivers.catalogue import open_input
    from workbench.base.machine import parse_machine

    text = open_input(f"sim:{scenario}").machine_text
    name = parse_machine(text).name
    return parse_machine(text.replace(name, "Six-row demonstration digger"))


def _store(path, when):
    from workbench.records.store import open_store

    return open_store(str(path), now=lambda: when)


def _record(path, when, machine, scenario, seed, name, for_s):
    """A simulated recording, written as a live one is."""
    from drivers.catalogue import open_input

    now_s = [0.0]
    address = f"sim:{scenario}?seed={seed}&pace=fast"
    driver = open_input(address, lambda: now_s[0])
    with _store(path, when) as store:
        writer = store.begin_recording(
            name, started_host_s=driver.clock(), simulated=True, machine=machine
        )
        driver.open()
        begun_s = driver.clock()
        while driver.clock() < begun_s + for_s:
            writer.write([(address, item) for item in driver.read(1.0)], driver.notes)
        driver.close()
        writer.end(driver.notes, "the pass is over")
        return writer.number


def _pass(path, when, machine, scenario, seed, name):
    from workbench.jobs.passes.answer import PassOptions

    number = _record(path, when, machine, scenario, seed, name, 60)
    _judge("pass", path, when, machine, number, PassOptions())


def _wheel(path, when, machine):
    from workbench.jobs.gap.answer import GapOptions

    number = _record(path, when, machine, "bent-tooth", 18, "tooth by tooth", 30)
    _judge("gap", path, when, machine, number, GapOptions())


def _judge(kind, path, when, machine, number, options):
    """The answer to a recording."""
    from workbench.jobs.job import job
    from workbench.jobs.keep import add

    with _store(path, when + timedelta(minutes=2)) as store:
        answer = job(kind).compute(store.load_recording(number), machine, options)
        add(store, kind, answer, options, recording=number, machine=machine)


def _calibration(path, when, machine, error):
    from workbench.jobs.calibrate.answer import CalibrateOptions

    lap_m = machine.belt.lap_length_m
    lines = ["# simulated", "run,shown,laps,laps_time_s,pulses,pulses_time_s"]
    for run, speed_mps in enumerate((0.98, 1.12, 1.25, 1.34), 1):
        shown = round(speed_mps / 0.44704 * (1 + error), 1)
        lines.append(f"{run},{shown:g},8,{8 * lap_m / speed_mps:.2f},,")
    options = CalibrateOptions(table_name="runs in the shop")
    _judge_table("calibrate", path, when, machine, lines, options)


def _gap(path, when, machine, gaps):
    from workbench.jobs.gap.answer import GapOptions

    lines = ["pickup,angle_deg,gap_m"]
    for side, more in (("left", 0.0), ("right", 0.04)):
        lines += [f"{side},{90 * at},{(gap + more) / 1000:.6f}" for at, gap in enumerate(gaps)]
    _judge_table("gap", path, when, machine, lines, GapOptions(table_name="feeler readings"))


def _judge_table(kind, path, when, machine, lines, options):
    """The answer to a table of a shop's own."""
    from workbench.jobs.job import job
    from workbench.jobs.keep import add

    text = "\n".join(lines) + "\n"
    answer = job(kind).compute(text, machine, options)
    with _store(path, when) as store:
        made_from = {"table": text, "table_name": options.table_name, "machine": machine}
        add(store, kind, answer, options, **made_from)
