"""A test pass: before, during and after."""


def caution(studio):
    studio.use("sim:valve-off?seed=4")
    studio.run(15)
    studio.show("Pass", caution_read=False)


def running(studio):
    page = studio.show("Pass")
    page._start.click()
    studio.run(40)


def lost(studio):
    page = studio.show("Pass")
    if not page.job.running:
        page._start.click()
        studio.run(20)
    studio.bench.live.stop()
    studio.now_s += 5


def answer(studio):
    page = studio.show("Pass")
    if page.job.running:
        page._start.click()
        studio.rest()
    studio.use("sim:valve-off?seed=4")
    studio.run(5)
    page._start.click()
    studio.run(60)
    page._start.click()
    studio.rest()


STATES = (caution, running, lost, answer)
