"""What is kept; stands on what the scenes before it kept."""


def listing(studio):
    studio.show("Records")


def recording(studio):
    _choose(studio, lambda entry: not entry.is_result)


def judged(studio):
    _choose(studio, lambda entry: entry.is_result and "Pass" in entry.what)


def _choose(studio, wanted):
    page = studio.show("Records")
    at = next((at for at, entry in enumerate(page._shown) if wanted(entry)), None)
    if at is not None:
        page._list.selectRow(at)
    studio.rest()


STATES = (listing, recording, judged)
