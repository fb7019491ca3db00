"""The machine's form and drawing: as it came, edited, wrong, new, and against the signal."""


def form(studio):
    studio.show("Machine")
    studio.run(12)
    studio.rest()
    studio.rest()


def not_in_use(studio):
    page = studio.show("Machine")
    page._form.type("drive.sprocket_teeth", "9")
    page._form.type("drive.turns_per_target_turn", "2.5")
    page._form.type("drive.target_teeth", "28")
    studio.rest()


def wrong_entries(studio):
    page = studio.show("Machine")
    page._form.type("drive.target_teeth", "thirty")
    page._form.type("drive.rod_pitch_m", "40")
    page._form.type("limits.ratio_low", "1.2")


def roll(studio):
    page = studio.show("Machine")
    page._form.bring_back()
    page._form.clear()
    for key, text in {
        "name": "Two-row digger, flat belt",
        "drive.target_teeth": "24",
        "drive.kind": "roll",
        "drive.roll_diameter_m": "6",
        "drive.pitch_line_offset_m": "1/8",
        "belt.lap_length_m": "24",
    }.items():
        page._form.type(key, text)


def metric(studio):
    studio.show("Machine")
    studio.bench.settings.change(units="metric")
    studio.rest()


def new_machine(studio):
    page = studio.show("Machine")
    page._new()


STATES = (form, not_in_use, wrong_entries, roll, metric, new_machine)
