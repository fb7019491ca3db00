"""The machine before its run, from a prepare table; a pure function of it and of the options."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from statistics import fmean

from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.statements import Statement, statement
from workbench.base.units import FOOT_M
from workbench.calibration.prepare.due import done_in, services
from workbench.calibration.prepare.judge import judge, shank_distances_m
from workbench.calibration.prepare.measures import (
    SPECS,
    CheckKind,
    Computed,
    PlaceKind,
    ReadingKind,
    Topic,
)
from workbench.calibration.prepare.sheet import CheckLine, PrepareSheet
from workbench.calibration.prepare.table import PreparedReading, parse_prepare_table, sides, way_of
from workbench.calibration.statistics.decision import Verdict, badness
from workbench.jobs.job import Job
from workbench.jobs.prepare.answer import (
    DO,
    PrepareAnswer,
    PrepareOptions,
    PrepareSays,
    ProvenSource,
)
from workbench.match.course import CourseRun, scale_factor
from workbench.match.sources import GroundKind

SOURCES = {
    ReadingKind.RADAR_SPEED: GroundKind.RADAR,
    ReadingKind.WHEEL_SPEED: GroundKind.WHEEL,
    ReadingKind.SATELLITE_SPEED: GroundKind.GNSS,
}
"""What was read over the taped course -> the kind of source that it proves."""


def compute(source: object, machine: Machine | None, options: PrepareOptions) -> PrepareAnswer:
    """The answer from a prepare table's text. Raises WrongInput with the line."""
    if not isinstance(source, str):
        raise WrongInput("A preparation is judged from a table check,place,value,unit.")
    readings = parse_prepare_table(source, options.table_name or "prepare table")
    sheet = judge(readings, machine)
    done = done_in(readings, options.by)
    hours = sheet.one(ReadingKind.HOURS)
    listed = services(machine, (*options.done_before, *done), options.today, hours)
    proven, course_says = course(readings, sheet)
    verdict, reason = _verdict(sheet.checks)
    read = {SPECS[one.measure].topic for one in readings}
    return PrepareAnswer(
        source=options.table_name,
        kind="prepare table",
        simulated=options.simulated,
        machine=machine.name if machine else "",
        today=options.today,
        verdict=verdict,
        reason=reason,
        checks=tuple(sheet.checks),
        figures=tuple(sheet.figures),
        due=tuple(one for one in listed if one.is_due),
        services=listed,
        done=done,
        sources=proven,
        unmeasured=tuple(topic for topic in Topic if topic not in read),
        to_do=tuple(_to_do(sheet.checks)),
        warnings=(*_warnings(sheet, machine), *course_says),
    )


def _verdict(checks: Sequence[CheckLine]) -> tuple[Verdict, Statement]:
    """The worst of all that was judged."""
    if not checks:
        return Verdict.CANNOT_TELL, statement(PrepareSays.NOTHING_JUDGED)
    worst = max((one.verdict for one in checks), key=badness)
    passed = (Verdict.PASS, Verdict.CONDITIONAL_PASS)
    out = [one for one in checks if one.verdict not in passed]
    if not out:
        return worst, statement(PrepareSays.ALL_WELL, count=len(checks))
    named = tuple(dict.fromkeys(statement(one.check) for one in out))
    return worst, statement(PrepareSays.SOME_OUTSIDE, out=len(out), count=len(checks), checks=named)


def _to_do(checks: Sequence[CheckLine]) -> Iterator[Statement]:
    """What to do at each that is not passed, said once where several places ask for the same."""
    places: dict[Statement, list[str]] = {}
    for one in checks:
        if one.verdict.is_fail:
            says = statement(DO[one.check][0 if one.too_low else 1])
            places.setdefault(says, []).append(one.place)
    for says, at in places.items():
        yield Statement(says.what, {"places": ", ".join(filter(None, at))})


def _warnings(sheet: PrepareSheet, machine: Machine | None) -> Iterator[Statement]:
    """What readings lack, what stands out, and what the numbers rest on."""
    for lack in sheet.lacking:
        what, of = statement(lack.measure), statement(lack.of)
        yield statement(PrepareSays.NEEDED_FIRST, what=what, of=of, place=lack.place)
    if sheet.apart:
        yield statement(PrepareSays.BLADE_APART, place=sheet.apart)
    for measure, places in sheet.by.items():
        paired = {place for _name, *both in sides(places) for place in both}
        if SPECS[measure].places is PlaceKind.SIDE and (alone := sorted(set(places) - paired)):
            of = statement(measure)
            yield statement(PrepareSays.READ_ON_ONE_SIDE, of=of, places=", ".join(alone))
    if sheet.all(ReadingKind.SHANK) and not shank_distances_m(machine)[0]:
        yield statement(PrepareSays.SHANK_UNKNOWN)
    if any(one.figure is Computed.SPEED_CHANGE_COLD for one in sheet.figures):
        yield statement(PrepareSays.MODEL_OF_OIL)
    if machine is not None and machine.drive.kind == "roll" and slack_belt(sheet.checks):
        yield statement(PrepareSays.SLACK_BELT_SLIPS)


def slack_belt(checks: Sequence[CheckLine]) -> bool:
    """Whether the belt hangs lower than it may."""
    sag = (CheckKind.BELT_SAG, CheckKind.BELT_SAG_MEAN)
    return any(one.check in sag and one.verdict.is_fail and not one.too_low for one in checks)


def course(
    readings: Sequence[PreparedReading], sheet: PrepareSheet
) -> tuple[tuple[ProvenSource, ...], list[Statement]]:
    """Each source over the taped course, and what is still missing."""
    length_m, times = sheet.one(ReadingKind.COURSE_LENGTH), sheet.all(ReadingKind.COURSE_TIME)
    found, said = [], []
    for measure, kind in SOURCES.items():
        shown = [one for one in readings if one.measure is measure]
        if not shown:
            continue
        if length_m != length_m:
            said.append(statement(PrepareSays.COURSE_NO_LENGTH, least_m=100 * FOOT_M))
            break
        if untimed := sorted({one.place for one in shown if one.place not in times}):
            said.append(statement(PrepareSays.COURSE_NO_TIME, runs=", ".join(untimed)))
        runs = [
            CourseRun(
                times[run],
                fmean(one.value for one in shown if one.place == run),
                max(_u_shown(one) for one in shown if one.place == run),
                way_of(run) == "there",
            )
            for run in dict.fromkeys(one.place for one in shown)
            if run in times
        ]
        if not runs:
            continue
        scale = scale_factor(length_m, runs)
        if not scale.proven:
            said.append(statement(PrepareSays.COURSE_ONE_WAY, source=statement(kind)))
        found.append(ProvenSource(source=kind, proven=scale.proven, **asdict(scale)))
    return tuple(found), said


def _u_shown(one: PreparedReading) -> float:
    """Of a speed read off a display: half its last digit either way, as it was typed."""
    number = re.match(r"[\d]+(?:[.,](\d+))?", one.typed[0].strip())
    digits = len(number[1] or "") if number else 0
    typed = float(number[0].replace(",", ".")) if number else 0.0
    return one.value / typed * 10.0**-digits / 12**0.5 if typed else 0.0


JOB = Job("prepare", PrepareOptions, PrepareAnswer, compute)
