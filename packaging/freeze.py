"""The program, its Python and its libraries in one folder; run by the build's own environment.

Usage: python freeze.py OUT

PyInstaller and not briefcase: it makes a folder that every system's own package can hold, takes
what is installed here and fetches nothing, while briefcase brings a Python and templates of its
own from other places.
"""

from __future__ import annotations

import gzip
import shutil
import subprocess
import sys
import sysconfig
from importlib.metadata import Distribution, distributions
from pathlib import Path

import PyInstaller.__main__
import shtab
from manual import manual

from workbench.cli.door import whole_parser

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
OURS = ("workbench", "drivers", "sim")
BY_NAME = ("can", "cantools", "alembic", "matplotlib.backends")
"""Libraries that import their own parts by name, where nobody sees it."""
UNUSED = (
    *("tkinter", "IPython", "jupyter", "notebook", "pytest", "_pytest", "hypothesis", "PyQt5"),
    *("PyQt6", "PySide6.QtQml", "PySide6.QtQuick", "PySide6.QtQuickWidgets", "PySide6.QtDesigner"),
    *("PySide6.QtTest", "PySide6.QtSql", "PySide6.QtHelp", "PySide6.QtUiTools", "setuptools"),
    *("pip", "hatchling", "PyInstaller", "shtab", "pandas", "numba", "pyarrow"),
)
"""What libraries would use if it were there, tools of the build, and Qt that no page shows."""
NEEDLESS = (
    *("**/Qt/qml", "**/Qt/translations", "**/libQt6Qml*", "**/libQt6Quick*", "**/libQt6EglF*"),
    *("**/plugins/egldeviceintegrations", "**/plugins/networkinformation", "**/libqgtk3*"),
    *("**/plugins/printsupport", "**/platforms/libq[elnv]*", "**/platforms/libqminimalegl*"),
    *("**/mpl-data/sample_data", "**/babel/locale-data/[!eprLl]*", "**/babel/locale-data/e[!ns]*"),
    *("**/babel/locale-data/p[!t]*", "**/babel/locale-data/l*"),
)
"""What comes along and nothing uses: Qt for screens without a desktop, the words of printers, and
how numbers are written where nobody of ours reads them (English, Spanish, Portuguese and `root`
stay)."""
STANDARD = {"LGPL": ("LGPL-3.0.txt", "GPL-3.0.txt"), "BSD": ("BSD-3-Clause.txt",)}
LICENCE_NAMES = ("licen", "copying", "notice", "authors", "copyright")


def main(out: Path) -> None:
    """Make OUT/evenpace, OUT/licences, OUT/evenpace.1.gz and OUT/completions."""
    shutil.rmtree(out, ignore_errors=True)
    PyInstaller.__main__.run([*_words(out), str(HERE / "frozen.py")])
    for pattern in NEEDLESS:
        for found in list((out / "evenpace").glob(pattern)):
            shutil.rmtree(found) if found.is_dir() else found.unlink()
    _licences(out)
    _words_for_shells(out)


def _words(out: Path) -> list[str]:
    words = ["--noconfirm", "--clean", "--log-level", "WARN", "--onedir", "--name", "evenpace"]
    words += ["--distpath", str(out), "--workpath", str(out / "work"), "--specpath", str(out)]
    words += ["--paths", str(ROOT), "--copy-metadata", "evenpace"]
    if sys.platform == "darwin":
        # An app; its command is Evenpace.app/Contents/MacOS/evenpace.
        words += ["--windowed", "--osx-bundle-identifier", "org.evenpace.bench"]
    if sys.platform == "win32":
        # One program for window and commands; started from the desktop it shows no console.
        words += ["--hide-console", "hide-early"]
    for name in OURS:
        words += ["--collect-submodules", name, "--collect-data", name]
    for name in BY_NAME:
        words += ["--collect-submodules", name]
    migrations = Path("workbench", "records", "migrations")
    words += ["--add-data", f"{ROOT / migrations}:{migrations}"]  # run by their path
    for name in UNUSED:
        words += ["--exclude-module", name]
    return words


def _licences(out: Path) -> None:
    """The licence of everything that is bundled, a folder each, with Python's own."""
    folder = out / "licences"
    (folder / "evenpace").mkdir(parents=True)
    shutil.copy(HERE / "LICENSE", folder / "evenpace")
    (folder / "python").mkdir()
    for python in (Path(sys.base_prefix), Path(sysconfig.get_path("stdlib"))):
        for found in python.glob("LICENSE*"):
            shutil.copy(found, folder / "python" / found.name)
    for one in distributions():
        _licence_of(one, folder / one.metadata["Name"].lower())
    _licences_of_the_system(out / "evenpace", folder / "system")


def _licence_of(one: Distribution, folder: Path) -> None:
    """What a library's own files say; where it brings none, the standard text of what it names."""
    folder.mkdir(exist_ok=True)
    said = [
        one.metadata[name] for name in ("License-Expression", "License") if name in one.metadata
    ]
    kinds = [line for line in one.metadata.get_all("Classifier") or [] if "License" in line]
    told = "\n".join([f"{one.metadata['Name']} {one.version}", *said, *kinds])
    (folder / "what.txt").write_text(told + "\n", encoding="utf-8")
    for path in one.files or ():
        if path.name.lower().startswith(LICENCE_NAMES) and path.suffix not in (".py", ".pyc"):
            name = "-".join(part for part in path.parts[-2:] if not part.endswith("-info"))
            source = Path(str(path.locate()))
            if source.is_file():
                shutil.copy(source, folder / name)
    if len(list(folder.iterdir())) == 1:
        for name, texts in STANDARD.items():
            if name in told:
                for text in texts:
                    shutil.copy(HERE / "licences" / text, folder)


def _licences_of_the_system(frozen: Path, folder: Path) -> None:
    """Of the libraries that came from this system, where it is a Debian and can tell."""
    if shutil.which("dpkg") is None:
        return
    folder.mkdir()
    for library in (frozen / "_internal").glob("*.so*"):
        told = subprocess.run(
            ["dpkg", "-S", f"*/{library.name}"], capture_output=True, text=True, check=False
        )
        for line in told.stdout.splitlines():
            package = line.partition(":")[0]
            text = Path("/usr/share/doc", package, "copyright")
            if text.is_file():
                shutil.copy(text, folder / package)


def _words_for_shells(out: Path) -> None:
    """The manual page and what shells complete, from the parser itself."""
    parser = whole_parser()
    (out / "evenpace.1.gz").write_bytes(gzip.compress(manual(parser).encode(), mtime=0))
    folder = out / "completions"
    folder.mkdir()
    for shell in shtab.SUPPORTED_SHELLS:
        (folder / shell).write_text(shtab.complete(parser, shell), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve())
