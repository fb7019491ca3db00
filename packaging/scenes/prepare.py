"""The machine before its run: an invented six-row digger, topic by topic, to the kept sheet."""

MACHINE = """
name = "Six-row digger, left belt"
[drive]
target_teeth = 24
kind = "roll"
roll_diameter_m = 0.15
pitch_line_offset_m = 0.004
[readout]
unit = "mph"
[prepare]
belt_span_m = 2.0
belt_kg_per_metre = 25.0
motor_volume_m3 = 160e-6
rows = "twin"
row_count = 6
row_spacing_m = 0.9144
twin_spacing_m = 0.1778
level_width_m = 3.0
[[chain]]
name = "main"
span_m = 0.6
pitch_m = 0.0254
[[chain]]
name = "shaker"
span_m = 0.4
runs = "vertical"
"""
TYPED = {
    "oil flow": {"": "16.5"},
    "tyre pressure": {"left": "28", "right": "24"},
    "frame height": {"left": "24", "right": "23 1/2"},
    "blade height": {"1": "3", "2": "3 1/16", "3": "3 1/8", "4": "4", "5": "3", "6": "3 1/16"},
    "shank": {"left 1": "30 1/2", "right 1": "31 1/2"},
    "belt sag": {"left": "2 1/4", "middle": "2 1/2", "right": "3 1/4"},
    "chain slack": {"main": "7/8", "shaker": "1/2"},
    "chain length": {"main": "24 3/4"},
    "chain links": {"main": "24"},
    "wear": {"belt bolts": "worn", "belt and rods": "sound"},
    "done": {"bearings": "2026-11-20"},
    "course length": {"": "100"},
    "course time": {"1 there": "27.3", "2 back": "27.1"},
    "radar speed": {"1 there": "2.6", "2 back": "2.6"},
}


def caution(studio):
    from workbench.base.machine import parse_machine

    studio.use("sim:healthy?seed=1")
    studio.run(2)
    studio.bench.use_machine(parse_machine(MACHINE))
    studio.show("Prepare", caution_read=False)


def hydraulics(studio):
    _type(studio, "hydraulics", "oil flow")


def tyres(studio):
    _type(studio, "tyres", "tyre pressure")


def level(studio):
    _type(studio, "level", "frame height")


def blades(studio):
    _type(studio, "blades", "blade height")


def shanks(studio):
    _type(studio, "rows and shanks", "shank")


def belt_empty(studio):
    _type(studio, "belt")


def wrong_entry(studio):
    page = _type(studio, "belt")
    page.job.type(_slot("belt sag", "left"), "20")


def belt(studio):
    _type(studio, "belt", "belt sag")


def chains(studio):
    _type(studio, "chains", "chain slack", "chain length", "chain links")


def wear(studio):
    _type(studio, "wear and grease", "wear", "done")


def course(studio):
    _type(studio, "taped course", "course length", "course time", "radar speed")
    studio.show("Prepare")  # its caution is another


def kept(studio):
    page = studio.show("Prepare")
    page._keep()
    studio.rest()


def report(studio):
    studio.show("Prepare").see_report()
    studio.rest()


def _slot(kind, place):
    from workbench.calibration.prepare.measures import ReadingKind

    return ReadingKind(kind), place


def _type(studio, topic, *kinds):
    from workbench.calibration.prepare.measures import Topic

    page = studio.show("Prepare")
    page.show_topic(Topic(topic))
    for kind in kinds:
        for place, text in TYPED[kind].items():
            page.job.type(_slot(kind, place), text)
    fields = list(page.entries.fields.values())
    fields[min(1, len(fields) - 1)].setFocus()
    studio.rest()
    return page


STATES = (
    *(caution, hydraulics, tyres, level, blades, shanks, belt_empty, wrong_entry, belt),
    *(chains, wear, course, kept, report),
)
