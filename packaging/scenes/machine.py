"""The machine's form and drawing."""


def form(studio):
    studio.show("Machine")


def wrong_entry(studio):
    page = studio.show("Machine")
    page._form.type("drive.target_teeth", "thirty")
    page._fill()


STATES = (form, wrong_entry)
