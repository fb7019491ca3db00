"""What each system installs, made of the frozen program; run by `build.py`.

Linux: a Debian package and a tarball. Windows: an installer by Inno Setup, macOS: a disk image
with an app, signed where $EVENPACE_SIGNING_IDENTITY names a key; these two are recipes that no
machine has tried yet.
"""

from __future__ import annotations

import gzip
import os
import platform
import shutil
import subprocess
import sys
import tarfile
import textwrap
from collections.abc import Sequence
from pathlib import Path

from debian import QT_LIBRARIES
from environment import FREEZE_LOCK, House, SetUpFailed, ensure, say

HERE = Path(__file__).resolve().parent
HOUSE = House(HERE.parent, ".venv-build")
ICON = HOUSE.root / "workbench" / "gui" / "icons" / "evenpace.svg"
COMPLETIONS = {
    "bash": "usr/share/bash-completion/completions/evenpace",
    "zsh": "usr/share/zsh/vendor-completions/_evenpace",
    "fish": "usr/share/fish/vendor_completions.d/evenpace.fish",
}
"""Where Debian's shells look for what packages bring."""


def main(arguments: Sequence[str]) -> int:
    """Set up, freeze and pack; returns the exit status."""
    out = Path(arguments[0] if arguments else HOUSE.root / "dist").resolve()
    try:
        ensure(HOUSE, FREEZE_LOCK)
        frozen = out / "frozen"
        freeze = [str(HOUSE.python), str(HERE / "freeze.py"), str(frozen)]
        subprocess.run(freeze, check=True, cwd=HOUSE.root)
        for made in _pack(frozen, out):
            print(f"{made}  {made.stat().st_size / 1e6:.0f} MB")
    except SetUpFailed as error:
        say(str(error))
        return 3
    except subprocess.CalledProcessError as error:
        say(f"{Path(error.cmd[0]).name} failed, see above.")
        return 3
    except KeyboardInterrupt:
        return 130
    return 0


def _pack(frozen: Path, out: Path) -> list[Path]:
    version = subprocess.run(
        [str(HOUSE.python), "-c", "import importlib.metadata as m; print(m.version('evenpace'))"],
        check=True,
        capture_output=True,
        text=True,
    ).stdout.strip()
    if sys.platform == "win32":
        return [_installer(frozen, out, version)]
    if sys.platform == "darwin":
        return [_disk_image(frozen, out, version)]
    made = [_tarball(frozen, out / f"evenpace-{version}-linux-{platform.machine()}.tar.gz")]
    if shutil.which("dpkg-deb"):
        made.append(_debian_package(frozen, out, version))
    return made


def _tarball(frozen: Path, path: Path) -> Path:
    """The program with all that a system may be told of it, to be unpacked anywhere."""
    with tarfile.open(path, "w:gz", compresslevel=6) as tar:
        for source in (
            *(frozen / name for name in ("evenpace", "licences", "completions", "evenpace.1.gz")),
            *(HERE / name for name in ("evenpace.desktop", "70-evenpace.rules")),
            ICON,
        ):
            tar.add(source, f"{path.name.removesuffix('.tar.gz')}/{source.name}")
    return path


def _debian_package(frozen: Path, out: Path, version: str) -> Path:
    """A package that brings the program, its entry, icon, device rules, manual and completions."""
    tree = out / "deb"
    shutil.rmtree(tree, ignore_errors=True)
    shutil.copytree(frozen / "evenpace", tree / "usr/lib/evenpace", symlinks=True)
    (tree / "usr/bin").mkdir(parents=True)
    (tree / "usr/bin/evenpace").symlink_to("../lib/evenpace/evenpace")
    for source, place in (
        (HERE / "evenpace.desktop", "usr/share/applications/evenpace.desktop"),
        (ICON, "usr/share/icons/hicolor/scalable/apps/evenpace.svg"),
        (HERE / "70-evenpace.rules", "usr/lib/udev/rules.d/70-evenpace.rules"),
        (frozen / "evenpace.1.gz", "usr/share/man/man1/evenpace.1.gz"),
        (HERE / "LICENSE", "usr/share/doc/evenpace/copyright"),
        *((frozen / "completions" / shell, place) for shell, place in COMPLETIONS.items()),
    ):
        (tree / place).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, tree / place)
    shutil.copytree(frozen / "licences", tree / "usr/share/doc/evenpace/licences")
    changes = f"evenpace ({version}) unstable; urgency=low\n"
    (tree / "usr/share/doc/evenpace/changelog.gz").write_bytes(
        gzip.compress(changes.encode(), mtime=0)
    )
    _control(tree, version)
    path = out / f"evenpace_{version}_{_architecture()}.deb"
    subprocess.run(
        ["dpkg-deb", "-Zxz", "-z2", "--root-owner-group", "--build", str(tree), str(path)],
        check=True,
    )
    shutil.rmtree(tree)
    return path


def _control(tree: Path, version: str) -> None:
    size_kb = sum(p.lstat().st_size for p in tree.rglob("*") if not p.is_dir()) // 1024
    control = tree / "DEBIAN"
    control.mkdir()
    libc = f"libc6 (>= {platform.libc_ver()[1]})"
    needed = ", ".join(sorted({*QT_LIBRARIES.values(), libc, "fontconfig", "fonts-dejavu-core"}))
    text = f"""\
        Package: evenpace
        Version: {version}
        Architecture: {_architecture()}
        Maintainer: Evenpace <evenpace@localhost>
        Installed-Size: {size_kb}
        Depends: {needed}
        Section: science
        Priority: optional
        Description: bench for the conveyor speed readout of a peanut digger
         Proves the readout of conveyor speed on a peanut digger: pulses to speed, pickup gap,
         calibration, and whether belt and ground kept pace on a test pass.
        """
    (control / "control").write_text(textwrap.dedent(text), encoding="utf-8")
    # A device that is plugged in already is asked about anew; nothing is done where no udev runs.
    script = (
        "#!/bin/sh\nif command -v udevadm >/dev/null; then udevadm control --reload; fi\nexit 0\n"
    )
    for name in ("postinst", "postrm"):
        (control / name).write_text(script, encoding="utf-8")
        (control / name).chmod(0o755)


def _architecture() -> str:
    told = subprocess.run(
        ["dpkg", "--print-architecture"], check=True, capture_output=True, text=True
    )
    return told.stdout.strip()


def _installer(frozen: Path, out: Path, version: str) -> Path:
    """Not tried here. By Inno Setup, whose compiler `iscc` has to be on the path."""
    recipe = HERE / "windows.iss"
    defined = {"Version": version, "Frozen": frozen, "Out": out, "Here": HERE}
    words = [f"/D{name}={value}" for name, value in defined.items()]
    subprocess.run(["iscc", "/Qp", *words, str(recipe)], check=True)
    return out / f"evenpace-{version}-setup.exe"


def _disk_image(frozen: Path, out: Path, version: str) -> Path:
    """Not tried here. An app, signed where there is a key, in a disk image."""
    app = frozen / "Evenpace.app"
    shutil.copytree(frozen / "licences", app / "Contents/Resources/licences", dirs_exist_ok=True)
    if identity := os.environ.get("EVENPACE_SIGNING_IDENTITY"):
        sign = ["codesign", "--deep", "--force", "--options", "runtime", "--sign", identity]
        subprocess.run([*sign, str(app)], check=True)
    path = out / f"evenpace-{version}.dmg"
    words = ["hdiutil", "create", "-ov", "-volname", "Evenpace", "-srcfolder", str(app), str(path)]
    subprocess.run(words, check=True)
    return path
