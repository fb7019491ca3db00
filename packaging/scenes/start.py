"""The first start."""


def first_start(studio):
    studio.window.show_page("Start")
    studio.run(20)


STATES = (first_start,)
