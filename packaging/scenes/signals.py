"""What comes in: well, missing teeth, with noise, silent, gone, wrong, and nothing at all."""


def _page(studio, view):
    from workbench.gui.signals.page import SignalView

    page = studio.show("Signals")
    page.show_view(SignalView[view])
    return page


def healthy(studio):
    studio.use("sim:healthy?seed=4")
    _page(studio, "ALL")
    studio.run(60)


def recording(studio):
    page = _page(studio, "ALL")
    page._record.name.setText("north field")
    page._record.note.setText("wet headland, third gear")
    page._record.switch.click()
    studio.run(42)


def wiring(studio):
    page = _page(studio, "WIRING")
    if studio.bench.recording.running:
        page._record.switch.click()
    studio.run(1)
    page._wiring.verticalScrollBar().setValue(0)


def wiring_switched(studio):
    """A pickup with three wires, the caution read."""
    studio.use("sim:hall-pickup?seed=4")
    page = _page(studio, "WIRING")
    page._wiring._caution.understood.click()
    studio.run(5)


def wiring_steps(studio):
    """The steps at the machine, further down."""
    from PySide6.QtCore import QCoreApplication

    page = _page(studio, "WIRING")
    studio.window.resize(1024, 600)
    for _ in range(4):
        QCoreApplication.processEvents()
    bar = page._wiring.verticalScrollBar()
    bar.setValue(bar.maximum())


def missed(studio):
    studio.use("sim:gap-too-wide?seed=4")
    _page(studio, "ALL")
    studio.run(40)


def missed_edges(studio):
    _page(studio, "EDGES")
    studio.run(1)


def extra_edges(studio):
    studio.use("sim:noisy-wiring?seed=4")
    page = _page(studio, "EDGES")
    for _ in range(60):
        studio.run(1)
        if any(panel.points[0].x.size for panel in page._edges.plot.picture.panels):
            break
    page._edges.switch_freeze()


def bent_tooth(studio):
    studio.use("sim:bent-tooth?seed=4")
    page = _page(studio, "EDGES")
    if page._edges.frozen:
        page._edges.switch_freeze()
    studio.run(20)


def silent(studio):
    """The left pickup's plug is pulled while the right one goes on."""
    studio.use("sim:healthy?seed=4")
    _page(studio, "ALL")
    studio.run(15)
    (driver,) = studio.bench.live.drivers
    read = driver.read
    driver.read = lambda timeout_s: [
        item for item in read(timeout_s) if getattr(item, "channel", "") != "left"
    ]
    studio.run(12)
    driver.read = read


def offers(studio):
    from workbench.models.signals.plugged import Offer

    page = studio.show("Signals")
    page._plugged.searched = True
    studio.bench.use_inputs([])
    page._plugged.found = [
        Offer(
            "counter:/dev/ttyACM0",
            "/dev/ttyACM0: Board in FS mode (USB 2e8a:0005)",
            "counter 'pulse counter', 4 channels: left (pickup), right (pickup), lap (lap mark), "
            "radar (speed signal)",
        ),
        Offer(
            "gnss:/dev/ttyUSB0?baud=9600",
            "/dev/ttyUSB0: USB-Serial (USB 1a86:7523)",
            "looks like NMEA at 9600 baud",
        ),
        Offer(
            "",
            "/dev/ttyUSB1: USB-Serial (USB 1a86:7523)",
            "",
            "Another program holds /dev/ttyUSB1; close that one first.",
        ),
    ]
    page._plugged.changed()
    page._list.address.setText("counter/dev/ttyACM0")
    page._list.use_typed()


def missing_device(studio):
    page = studio.show("Signals")
    page._list.address.setText("counter:/dev/ttyACM9")
    page._list.use_typed()
    import time

    time.sleep(0.5)


STATES = (
    healthy,
    recording,
    wiring,
    wiring_switched,
    wiring_steps,
    missed,
    missed_edges,
    extra_edges,
    bent_tooth,
    silent,
    offers,
    missing_device,
)
