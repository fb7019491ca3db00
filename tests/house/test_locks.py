"""The lock files fit pyproject.toml, each other and pip's hash mode."""

from __future__ import annotations

import re

import pytest
from packaging.markers import Marker, default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

LOCKS = ("lock.txt", "lock-check.txt", "lock-freeze.txt")
ENTRY = re.compile(
    r"^(?P<name>[\w.-]+)==(?P<version>[^\s;\\]+)( ; (?P<marker>[^\\]+))?", re.MULTILINE
)
MACHINES = [
    {"sys_platform": platform, "platform_machine": machine, "os_name": os_name}
    | {"python_version": python, "python_full_version": f"{python}.4", "platform_system": system}
    for platform, machine, os_name, system in [
        ("linux", "x86_64", "posix", "Linux"),
        ("win32", "AMD64", "nt", "Windows"),
        ("darwin", "arm64", "posix", "Darwin"),
    ]
    for python in ("3.11", "3.13")
]


@pytest.fixture
def lock(root):
    def read(name):
        return (root / "packaging" / name).read_text(encoding="utf-8")

    return read


def pins(text, machine):
    """Name -> version that a lock installs on a machine."""
    here = default_environment() | machine
    return {
        canonicalize_name(entry["name"]): entry["version"]
        for entry in ENTRY.finditer(text)
        if entry["marker"] is None or Marker(entry["marker"]).evaluate(here)
    }


def wanted(project, extras, groups):
    """The requirements of the project, of `groups`, of `extras` and of the extras that those
    name."""
    own = project["project"]
    listed = [Requirement(line) for line in own["dependencies"]]
    listed += [Requirement(line) for line in project["build-system"]["requires"]]
    for group in groups:
        own_lines = (line for line in project["dependency-groups"][group] if isinstance(line, str))
        listed += [Requirement(line) for line in own_lines]
    queue = list(extras)
    while queue:
        for line in own["optional-dependencies"][queue.pop()]:
            requirement = Requirement(line)
            if requirement.name == own["name"]:
                queue += requirement.extras
            else:
                listed.append(requirement)
    return listed


@pytest.mark.parametrize(
    ("name", "extras", "groups"),
    [
        ("lock.txt", [], ["build"]),
        ("lock-check.txt", ["check"], ["build"]),
        ("lock-freeze.txt", ["postgresql", "signing"], ["build", "freeze"]),
    ],
)
def test_the_lock_meets_every_range(project, lock, name, extras, groups):
    for machine in MACHINES:
        locked = pins(lock(name), machine)
        here = default_environment() | machine
        for requirement in wanted(project, extras, groups):
            if requirement.marker is None or requirement.marker.evaluate(here):
                version = locked.get(canonicalize_name(requirement.name))
                assert version is not None, f"{requirement} is not in {name} for {machine}"
                assert requirement.specifier.contains(version), f"{requirement}: {version}"


@pytest.mark.parametrize("name", LOCKS)
def test_every_entry_has_hashes(lock, name):
    entries = re.split(r"\n(?=\S)", lock(name))
    entries = [entry for entry in entries if ENTRY.match(entry)]
    assert len(entries) > 40
    assert [entry for entry in entries if "--hash=sha256:" not in entry] == []


def test_the_other_locks_hold_the_run_lock(lock):
    """So that an environment made for the checks serves `start.py` as it is, and what is frozen
    is what was tested."""
    for machine in MACHINES:
        run, check, freeze = (pins(lock(name), machine) for name in LOCKS)
        assert run.items() <= check.items()
        assert run.items() <= freeze.items()
