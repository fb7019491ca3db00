"""Input addresses: `scheme:rest?key=value&…` to a driver, imported only when asked for."""

from __future__ import annotations

import time
from importlib import import_module
from importlib.metadata import entry_points
from typing import Any, NamedTuple, cast
from urllib.parse import quote, unquote

from drivers.contract import AddressError, Clock, Driver

DRIVERS: dict[str, str] = {
    "can": "drivers.can.bus:CanDriver",
    "counter": "drivers.counter.driver:CounterDriver",
    "dbc": "drivers.can.dbc:DbcDriver",
    "file": "drivers.files.reading:FileDriver",
    "gnss": "drivers.gnss.driver:GnssDriver",
    "sim": "sim.driver:SimDriver",
}
"""Scheme -> 'module:Class'. The class is called with (rest, options, clock)."""

ENTRY_POINTS = "evenpace.drivers"
"""Group of entry points by which another distribution adds schemes."""


def open_input(address: str, clock: Clock = time.monotonic) -> Driver:
    """The driver for an address, made and not yet opened. Raises AddressError."""
    scheme, colon, rest = address.partition(":")
    schemes = _schemes()
    if not colon or scheme not in schemes:
        known = ", ".join(f"{name}:" for name in sorted(schemes))
        raise AddressError(
            "'{address}' is no input address; it begins with one of {known}.",
            address=address,
            known=known,
        )
    rest, mark, query = rest.partition("?")
    if not rest:
        raise AddressError(
            "'{address}' says nothing after '{scheme}:'.", address=address, scheme=scheme
        )
    options = _options(address, query) if mark else {}
    return cast(Driver, _driver_class(schemes[scheme])(rest, options, clock))


def _schemes() -> dict[str, str]:
    """Ours win: another distribution adds schemes, and replaces none."""
    return {point.name: point.value for point in entry_points(group=ENTRY_POINTS)} | DRIVERS


def _driver_class(place: str) -> Any:
    module, _, name = place.partition(":")
    try:
        return getattr(import_module(module), name)
    except (ImportError, AttributeError) as error:
        raise AddressError(
            "The driver {place} cannot be loaded ({error}); "
            "install the distribution that brings it anew.",
            place=place,
            error=error,
        ) from error


def _options(address: str, query: str) -> dict[str, str]:
    options: dict[str, str] = {}
    for part in query.split("&"):
        key, equals, value = part.partition("=")
        if not (key and equals):
            raise AddressError(
                "'{address}': found '{part}' after '?', expected key=value.",
                address=address,
                part=part,
            )
        if key in options:
            raise AddressError(
                "'{address}': option '{key}' is given twice.", address=address, key=key
            )
        options[key] = unquote(value)
    return options


class ReadyInput(NamedTuple):
    """A ready-made input: its `title`, a paragraph `about` it, and which job it rehearses: 'pass',
    'calibration', 'gap'."""

    address: str
    title: str
    about: str
    rehearses: str


def listing(scheme: str) -> list[ReadyInput]:
    """Ready-made inputs of one scheme; [] where it has none.

    A driver class that has some tells them by a class method `listing`.
    """
    listed = getattr(_driver_class(_schemes()[scheme]), "listing", list)
    return cast(list[ReadyInput], listed())


def check_options(address: str, options: dict[str, str], known: tuple[str, ...]) -> None:
    """Raise AddressError at an option that is not among `known`."""
    for key in options:
        if key not in known:
            listed = ", ".join(known) or "none"
            raise AddressError(
                "'{address}': no option '{key}'; known are {listed}.",
                address=address,
                key=key,
                listed=listed,
            )


def full_address(scheme: str, rest: str, options: dict[str, str]) -> str:
    """The address that `open_input` took apart into `rest` and `options`."""
    query = "&".join(f"{key}={quote(value, safe='/:={} ')}" for key, value in options.items())
    return f"{scheme}:{rest}?{query}" if query else f"{scheme}:{rest}"
