"""Models tell whoever is interested that they changed; they know no screen."""

from __future__ import annotations

from collections.abc import Callable

Listener = Callable[[], None]


class Observable:
    """Calls its listeners when `changed` is called, in the thread that calls it."""

    def __init__(self) -> None:
        self._listeners: list[Listener] = []

    def subscribe(self, listener: Listener) -> Callable[[], None]:
        """Call `listener` at every change, until the returned function is called."""
        self._listeners.append(listener)
        return lambda: self._listeners.remove(listener) if listener in self._listeners else None

    def changed(self) -> None:
        """Tell every listener."""
        for listener in tuple(self._listeners):
            listener()
