"""Which program this is, where what it keeps lies, and one file for whoever is asked for help."""

from __future__ import annotations

import platform
import sys
import zipfile
from collections.abc import Callable, Mapping
from importlib.metadata import distributions
from pathlib import Path

import platformdirs

from drivers.plugged import can_channels, serial_ports
from workbench.base.files import replacing
from workbench.base.version import program_version
from workbench.models.bench import Bench
from workbench.models.progress import Progress
from workbench.records.backup import back_up
from workbench.records.database import store_address
from workbench.words.language import N_, _

DATA, SETTINGS, LOG = N_("Recordings and results"), N_("Settings"), N_("Log")


def folders(bench: Bench) -> dict[str, Path]:
    """Where what is kept lies, by its name; a store on a server lies in none."""
    found = {LOG: log_folder()}
    if bench.settings.path is not None:
        found[SETTINGS] = bench.settings.path.parent
    address = store_address(bench.store)
    if "://" not in address:
        found[DATA] = Path(address).expanduser().absolute().parent
    return dict(reversed(found.items()))


def log_folder() -> Path:
    """Where the log lies for this user."""
    return platformdirs.user_log_path("evenpace")


def versions() -> str:
    """The program, its Python, the system, and every library with its version."""
    libraries = sorted({f"{one.metadata['Name']} {one.version}" for one in distributions()})
    return "\n".join(
        [f"evenpace {program_version()}", f"Python {sys.version}", platform.platform(), *libraries]
    )


def licence_folder() -> Path | None:
    """Where a build without Python keeps the licences of what it bundles."""
    program = Path(sys.executable).resolve().parent
    for folder in (program.parent / "licences", Path("/usr/share/doc/evenpace/licences")):
        if getattr(sys, "frozen", False) and folder.is_dir():
            return folder
    return None


def plugged() -> str:
    """The ports and channels there are, not listened to."""
    return "\n".join(map(str, [*serial_ports(), *can_channels()])) or "nothing"


def save_diagnosis(
    bench: Bench,
    path: Path,
    progress: Progress,
    *,
    with_data: bool,
    tell_plugged: Callable[[], str] = plugged,
) -> str:
    """Write one file for whoever helps: log, versions, settings, what is plugged in; measurement
    data, a copy of the store, only where `with_data`. A sentence on it.

    Raises BenchError; where `progress` ends it nothing is left.
    """
    texts: Mapping[str, Callable[[], str]] = {"versions.txt": versions, "plugged.txt": tell_plugged}
    with replacing(path) as fresh:
        with zipfile.ZipFile(fresh, "w", zipfile.ZIP_DEFLATED) as file:
            for name, text in texts.items():
                progress()
                file.writestr(name, text())
            for log in sorted(log_folder().glob("evenpace.log*")):
                file.write(log, f"log/{log.name}")
            if bench.settings.path is not None and bench.settings.path.is_file():
                file.write(bench.settings.path, "settings.json")
            if with_data:
                copy = fresh.with_suffix(".db")
                try:
                    back_up(bench.store, copy, progress)
                    file.write(copy, "store.db")
                finally:
                    copy.unlink(missing_ok=True)
        size_mb = fresh.stat().st_size / 1e6
    if with_data:
        said = _("Saved as {name} ({size:.1f} MB), measurement data included.")
    else:
        said = _("Saved as {name} ({size:.1f} MB), without measurement data.")
    return said.format(name=path.name, size=size_mb)
