"""What to check where no pulse comes, from the laptop to the wheel; the drawing's numbers.

After drivers/firmware/WIRING.md. The steps at the machine come after its caution.
"""

from __future__ import annotations

from dataclasses import dataclass

from workbench.base.machine import Machine, Pickup
from workbench.base.units import UnitSystem, inch_fraction
from workbench.words.language import N_, _

PINS = {"left": "GP10", "right": "GP11", "lap": "GP12", "radar": "GP13"}
"""The counter board's pin of each channel."""

COIL = "variable-reluctance"


@dataclass(frozen=True, slots=True)
class WiringStep:
    """One place to check, by its number in the drawing."""

    number: int
    what: str
    text: str


def is_coil(machine: Machine | None) -> bool:
    """Whether the pickup is a coil with two wires."""
    return (machine.pickup if machine else Pickup()).kind == COIL


def gap_words(machine: Machine | None, units: UnitSystem) -> str:
    """'gap 1.6 mm, at most 3.2 mm', for the drawing."""
    pickup = machine.pickup if machine else Pickup()
    best, most = _number(pickup.gap_best_m, units), _number(pickup.gap_max_m, units)
    return _("gap {best}, at most {most}").format(best=best, most=most)


def at_the_laptop() -> tuple[WiringStep, ...]:
    """Steps for which nobody goes near the machine."""
    return (
        WiringStep(
            1,
            _("USB cable"),
            _(
                "Both plugs pushed home, and a cable that carries data, not only charge. Under "
                "Inputs, 'Find what is plugged in' must name a counter; if it names none, try "
                "another cable and another socket."
            ),
        ),
        WiringStep(
            2,
            "Board",
            _(
                "Each input on its own pin: left pickup GP10, right pickup GP11, lap mark GP12, "
                "radar or wheel signal GP13."
            ),
        ),
        WiringStep(
            3,
            "Pull-up",
            _(
                "R8, 10 kΩ, holds the pin at 3.3 V; the pin falls to near 0 V while current flows "
                "through the optocoupler's diode. A pin that never changes has its optocoupler "
                "turned round, or no pull-up, or nothing comes from the machine."
            ),
        ),
    )


def at_the_machine(machine: Machine | None, units: UnitSystem) -> tuple[WiringStep, ...]:
    """Steps with the hands at supply, cable, pickup and wheel; the caution comes before."""
    best, most = _gaps(machine, units)
    return (
        WiringStep(4, "Supply", _(_SUPPLY[is_coil(machine)])),
        WiringStep(
            5,
            _("Plug and cable"),
            _(
                "No chafed spot, no loose or green contact, the wires in their order. The shield "
                "is joined to 0 V on the machine's side only. The cable keeps clear of ignition "
                "leads and the alternator's, and is tied so that nothing that turns can catch it."
            ),
        ),
        WiringStep(6, "Pickup", _(_PICKUP[is_coil(machine)])),
        WiringStep(
            7,
            "Gap",
            _(
                "{best} is best, {most} the most. Measure it at four places round the wheel with a "
                "feeler gauge: the Gap page leads through it."
            ).format(best=best, most=most),
        ),
        WiringStep(
            8,
            "Wheel",
            _(
                "Teeth clean of mud and swarf, whole, straight, and passing right before the "
                "middle of the pickup's face. The wheel sits tight on its shaft."
            ),
        ),
    )


_SUPPLY = {
    True: N_(
        "The fuse (1 A) is whole, the battery pack charged: 12 V at the input board, 5 V behind "
        "its regulator. The coil itself needs no supply; its comparator does."
    ),
    False: N_(
        "The fuse (1 A) is whole, the battery pack charged: about 12 V between + supply and "
        "0 V, measured at the pickup's plug."
    ),
}
_PICKUP = {
    True: N_(
        "A coil gives nothing while the wheel stands, and little when it turns slowly. With its "
        "plug out, a meter shows a steady resistance between the two wires, and none of them "
        "touches the machine's frame. It never goes straight to a pin: it can give tens of volts."
    ),
    False: N_(
        "It answers without the engine: pass a piece of steel before its face, and 'Last heard' "
        "starts anew at every pass. If not, its wires are in the wrong order or it is broken."
    ),
}


def _gaps(machine: Machine | None, units: UnitSystem) -> tuple[str, str]:
    pickup = machine.pickup if machine else Pickup()
    return _gap_text(pickup.gap_best_m, units), _gap_text(pickup.gap_max_m, units)


def _gap_text(gap_m: float, units: UnitSystem) -> str:
    """With the mark of the nearest feeler blade where blades are marked in fractions."""
    fraction = f" (about {inch_fraction(gap_m)} in)" if units.gap == "in" else ""
    return f"{_number(gap_m, units)}{fraction}"


def _number(gap_m: float, units: UnitSystem) -> str:
    return f"{gap_m / units.gap_m:.{3 if units.gap == 'in' else 1}f} {units.gap}"
