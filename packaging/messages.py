"""Collects all that the bench says, for translators: python3 packaging/messages.py [LANGUAGE ...]

Writes `workbench/words/locale/evenpace.pot`; for each language named, and each there already,
it makes or updates `locale/LANGUAGE/LC_MESSAGES/evenpace.po` and compiles it.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import python_version  # noqa: F401
from bench import HOUSE
from environment import RUN_LOCK, SetUpFailed, ensure, hand_over, say

LOCALE = HOUSE.root / "workbench/words/locale"
ROOMS = ("workbench", "drivers")

ERRORS = (
    *("BenchError", "WrongInput", "StoreError", "StoreBusy", "Message", "message"),
    *("InputError", "AddressError", "FileRefused", "CodecError", "Note", "refused"),
    *("DeviceError", "DeviceMissing", "DeviceDenied", "DeviceBusy", "DeviceLost"),
)
"""What carries its template as its first words."""

KEYWORDS: dict[str, Any] = {
    **dict.fromkeys(("_", "N_", "label", "button", "_step", *ERRORS), (1,)),
    **dict.fromkeys(("ngettext", "Plural"), (1, 2)),
    "say": (2,),
}
"""Who takes a message, and as which of its arguments."""


def messages(root: Path) -> Iterator[tuple[str, int, str | tuple[str, ...]]]:
    """(file, line, message or its two forms) of all that is said."""
    from babel.messages.extract import extract_from_file

    for room in ROOMS:
        for path in sorted((root / room).rglob("*.py")):
            found = extract_from_file("python", path, keywords=KEYWORDS, comment_tags=())
            for line, message, _comments, _context in found:
                if message:
                    yield path.relative_to(root).as_posix(), line, message


def main(languages: Sequence[str]) -> int:
    """Write the template, then each language's catalogue."""
    from babel.messages.catalog import Catalog
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po, write_po

    template = Catalog(project="evenpace", charset="utf-8")
    for path, line, message in messages(HOUSE.root):
        template.add(message, locations=[(path, line)])
    LOCALE.mkdir(exist_ok=True)
    with (LOCALE / "evenpace.pot").open("wb") as file:
        write_po(file, template, omit_header=False, sort_output=True)
    known = {path.parts[-3] for path in LOCALE.glob("*/LC_MESSAGES/evenpace.po")}
    for code in sorted(known | set(languages)):
        po = LOCALE / code / "LC_MESSAGES" / "evenpace.po"
        po.parent.mkdir(parents=True, exist_ok=True)
        catalogue = Catalog(locale=code, project="evenpace", charset="utf-8")
        if po.exists():
            with po.open("rb") as file:
                catalogue = read_po(file, locale=code)
        catalogue.update(template)
        with po.open("wb") as file:
            write_po(file, catalogue, sort_output=True)
        with po.with_suffix(".mo").open("wb") as file:
            write_mo(file, catalogue)
    print(f"{len(template)} messages in {LOCALE / 'evenpace.pot'}")
    return 0


if __name__ == "__main__":
    try:
        ensure(HOUSE, RUN_LOCK)
    except SetUpFailed as error:
        say(str(error))
        raise SystemExit(3) from None
    if Path(sys.prefix).resolve() != HOUSE.venv.resolve():
        # Babel lies in the project's own environment.
        os.environ["PYTHONPATH"] = str(HOUSE.root / "packaging")
        raise SystemExit(
            hand_over([str(HOUSE.python), str(Path(__file__).resolve()), *sys.argv[1:]])
        )
    raise SystemExit(main(sys.argv[1:]))
