"""How an input fails, and what is said of it, worded last.

Errors are split by who can mend them::

    InputError                  every error of this layer; its text is a sentence for the person
    ├── AddressError            the input address is wrong: 'gnss:' without a port
    ├── FileRefused             the file is not what was expected: empty, garbage, a bad line
    └── DeviceError             the device or its cable
        ├── DeviceMissing       it is not there: '/dev/ttyACM0' does not exist
        ├── DeviceDenied        no permission: not in the group that owns the port
        ├── DeviceBusy          another program holds it
        └── DeviceLost          it went away while it was read: plug pulled

The reader of a live input answers `DeviceLost` by reconnecting; every other error ends
the input. Data that is merely damaged raises nothing: it is counted and shows as `Lost`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Self


class Note(str):
    """A sentence or phrase for the person: in English as text, and as a template with values.

    `Note("{count} lines were not understood.", count=3)`: whoever words it in another language
    takes `template` and `values`, everyone else the text.
    """

    template: str
    values: dict[str, Any]

    def __new__(cls, template: str, /, **values: Any) -> Self:
        made = super().__new__(cls, template.format(**values) if values else template)
        made.template = getattr(template, "template", template)
        made.values = values or getattr(template, "values", {})
        return made

    def __getnewargs_ex__(self) -> tuple[tuple[str], dict[str, Any]]:
        return (self.template,), self.values


class InputError(Exception):
    """Something about an input is wrong; `str()` of it is a sentence for the person.

    It carries a template and named values, as a `Note` does.
    """

    def __init__(self, template: str, /, **values: Any) -> None:
        note = Note(template, **values)
        super().__init__(note)
        self.template, self.values = note.template, note.values

    def __reduce__(self) -> Any:
        return _made_again, (type(self), self.template, self.values, self.__dict__)


def _made_again(
    kind: type[InputError], template: str, values: dict[str, Any], state: dict[str, Any]
) -> InputError:
    """An error after its way through a pickle, to or from another process."""
    made = kind.__new__(kind)
    InputError.__init__(made, template, **values)
    made.__dict__.update(state)
    return made


class AddressError(InputError):
    """An input address that names no driver, or whose options are wrong."""


class FileRefused(InputError):
    """A file that cannot be read as what it should be.

    `where` is a line ('line 12') or a byte ('byte 4096') or '' for the whole file.
    """

    def __init__(self, path: Path | str, found: str, expected: str, where: str = "") -> None:
        self.path, self.found, self.expected, self.where = Path(path), found, expected, where
        told = {"path": path, "found": Note(found), "expected": Note(expected)}
        if where:
            super().__init__("{path}, {where}: {found}; expected {expected}.", where=where, **told)
        else:
            super().__init__("{path}: {found}; expected {expected}.", **told)


class DeviceError(InputError):
    """A device that cannot be used, for the reason the subclass names."""


class DeviceMissing(DeviceError):
    """The device is not there."""


class DeviceDenied(DeviceError):
    """The device is there, and this user may not open it."""


class DeviceBusy(DeviceError):
    """Another program holds the device."""


class DeviceLost(DeviceError):
    """The device went away while it was being read."""
