"""Every check before a run: a function a topic, which finds its values and between what they
should lie; the sheet judges them all by one rule."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from statistics import fmean, median

from workbench.base.machine import Machine
from workbench.base.preparation import Chain
from workbench.calibration.prepare import formulas, measures
from workbench.calibration.prepare.measures import SPECS, CheckKind, Computed, ReadingKind
from workbench.calibration.prepare.sheet import Lacking, Limit, PrepareSheet, Whose, sheet_of
from workbench.calibration.prepare.table import PreparedReading, sides
from workbench.calibration.pulses.drive_line import belt_per_shaft_turn


def judge(readings: Iterable[PreparedReading], machine: Machine | None) -> PrepareSheet:
    """All that was read, judged."""
    sheet = sheet_of(readings, machine)
    for look in (_flow, _tyres, _level, _blades, _shanks, _belt, _chains, _wear):
        look(sheet)
    return sheet


def _own(own: float, otherwise: float, whose: Whose = Whose.PRACTICE) -> tuple[float, Whose]:
    """The machine's own limit, or another's."""
    return (otherwise, whose) if math.isnan(own) else (own, Whose.MANUAL)


def _flow(sheet: PrepareSheet) -> None:
    flow = sheet.one(ReadingKind.OIL_FLOW)
    if math.isnan(flow):
        return
    u_flow, prepare = SPECS[ReadingKind.OIL_FLOW].u_of(flow), sheet.prepare
    low, whose = _own(prepare.oil_flow_low_m3_per_s, measures.OIL_FLOW_LOW_M3_PER_S)
    sheet.judge(CheckKind.OIL_FLOW, "", flow, u_flow, Limit(low, whose=whose))
    if math.isnan(prepare.motor_volume_m3) or sheet.machine is None:
        return
    efficiency, _whose = _own(prepare.motor_efficiency, measures.MOTOR_EFFICIENCY)
    turn_m, u_turn_m = belt_per_shaft_turn(sheet.machine.drive)
    metres_per_turn = turn_m / prepare.motor_turns_per_shaft_turn
    wanted_mps = sheet.machine.limits.speed_high_mps
    # The oil that turns the motor is known by its displacement; how much leaks is not.
    u_rel = math.hypot(measures.U_MOTOR_EFFICIENCY / efficiency, u_turn_m / turn_m)
    volume_m3 = prepare.motor_volume_m3
    needed = formulas.flow_needed_m3_per_s(wanted_mps / metres_per_turn, volume_m3, efficiency)
    sheet.tell(Computed.OIL_FLOW_NEEDED, "", needed, needed * u_rel)
    u_reserve = flow / needed * math.hypot(u_rel, u_flow / flow)
    reserve = Limit(0.0, whose=Whose.COMPUTED)
    sheet.judge(CheckKind.OIL_FLOW_RESERVE, "", flow / needed - 1, u_reserve, reserve)
    full_mps = formulas.motor_turns_hz(flow, volume_m3, efficiency) * metres_per_turn
    u_full_mps = full_mps * math.hypot(u_rel, u_flow / flow)
    sheet.tell(Computed.SPEED_AT_FULL_FLOW, "", full_mps, u_full_mps)
    at_c = sheet.one(ReadingKind.OIL_TEMPERATURE, measures.WARM_OIL_C)
    other = {
        Computed.SPEED_CHANGE_COLD: measures.COLD_OIL_C,
        Computed.SPEED_CHANGE_HOT: measures.HOT_OIL_C,
    }
    for figure, oil_c in other.items():
        then = formulas.efficiency_at(oil_c, at_c, efficiency)
        leak = 1 - efficiency
        u_change = abs(then / efficiency - 1) * measures.U_MOTOR_EFFICIENCY / leak if leak else 0.0
        sheet.tell(figure, "", then / efficiency - 1, u_change)


def _tyres(sheet: PrepareSheet) -> None:
    u = SPECS[ReadingKind.TYRE_PRESSURE].u
    own_pa, room_pa = sheet.prepare.tyre_pressure_pa, measures.PRESSURE_ROOM_PA
    pressures = sheet.all(ReadingKind.TYRE_PRESSURE)
    if math.isfinite(own_pa):
        own = Limit(own_pa - room_pa, own_pa + room_pa, Whose.MANUAL)
        for place, value in pressures.items():
            sheet.judge(CheckKind.TYRE_PRESSURE, place, value, u, own)
    alike = Limit(-room_pa, room_pa)
    for name, left, right in sides(pressures):
        difference = pressures[left] - pressures[right]
        sheet.judge(CheckKind.TYRE_PRESSURE_DIFFERENCE, name, difference, math.sqrt(2) * u, alike)
    most = measures.RADIUS_DIFFERENCE_REL
    radii, u_m = sheet.all(ReadingKind.TYRE_RADIUS), SPECS[ReadingKind.TYRE_RADIUS].u
    for name, left, right in sides(radii):
        mean_m = 0.5 * (radii[left] + radii[right])
        difference, u = (radii[left] - radii[right]) / mean_m, math.sqrt(2) * u_m / mean_m
        sheet.judge(CheckKind.TYRE_RADIUS_DIFFERENCE, name, difference, u, Limit(-most, most))
        # At one turning speed each wheel runs v = ω·r; the axle's mean is half way between.
        sheet.tell(Computed.WHEEL_SPEED_DIFFERENCE, name, difference, u)


def _level(sheet: PrepareSheet) -> None:
    heights, u_m = sheet.all(ReadingKind.FRAME_HEIGHT), SPECS[ReadingKind.FRAME_HEIGHT].u
    width_m = sheet.one(ReadingKind.FRAME_WIDTH, sheet.prepare.level_width_m)
    most_m = measures.HEIGHT_DIFFERENCE_M
    for name, left, right in sides(heights):
        difference_m, u = heights[left] - heights[right], math.sqrt(2) * u_m
        limit = Limit(-most_m, most_m)
        sheet.judge(CheckKind.FRAME_HEIGHT_DIFFERENCE, name, difference_m, u, limit)
        if math.isfinite(width_m):
            tilt_deg = formulas.tilt_deg(heights[left], heights[right], width_m)
            sheet.tell(Computed.TILT, name, tilt_deg, math.degrees(u / width_m))


def _blades(sheet: PrepareSheet) -> None:
    heights, u_m = sheet.all(ReadingKind.BLADE_HEIGHT), SPECS[ReadingKind.BLADE_HEIGHT].u
    if len(heights) < 2:
        return
    spread_m, limit = max(heights.values()) - min(heights.values()), measures.BLADE_SPREAD_M
    sheet.judge(CheckKind.BLADE_HEIGHT_SPREAD, "", spread_m, math.sqrt(2) * u_m, Limit(high=limit))
    if len(heights) < 3:
        return
    away = {
        place: abs(height - median(other for name, other in heights.items() if name != place))
        for place, height in heights.items()
    }
    first, second, *_rest = sorted(away, key=lambda place: -away[place])
    # It stands out where the others agree without it, and it is off by more than its uncertainty.
    if away[first] > 3 * math.sqrt(2) * u_m and away[first] > 2 * away[second]:
        sheet.apart = first


def shank_distances_m(machine: Machine | None) -> tuple[tuple[float, ...], Whose]:
    """Of the shanks' inner edges from the centre line, from the centre outwards, and whose; ()
    where the rows are not known."""
    if machine is None:
        return (), Whose.PRACTICE
    rows = machine.prepare
    practice_m = formulas.shank_offset_m(rows.rows, rows.twin_spacing_m) if rows.rows else math.nan
    offset_m, whose = _own(rows.shank_offset_m, practice_m)
    if not (rows.row_count and math.isfinite(rows.row_spacing_m) and math.isfinite(offset_m)):
        return (), whose
    return formulas.shank_distances_m(rows.row_count, rows.row_spacing_m, offset_m), whose


def _shanks(sheet: PrepareSheet) -> None:
    wanted, whose = shank_distances_m(sheet.machine)
    read, u_m, room_m = (
        sheet.all(ReadingKind.SHANK),
        SPECS[ReadingKind.SHANK].u,
        measures.SHANK_ROOM_M,
    )
    for number, distance_m in enumerate(wanted, 1):
        sheet.tell(Computed.SHANK_DISTANCE, str(number), distance_m, 0.0)
    for place, value in read.items():
        side, number_text = place.split()
        if int(number_text) <= len(wanted):
            right_m = wanted[int(number_text) - 1]
            limit = Limit(right_m - room_m, right_m + room_m, whose)
            sheet.judge(CheckKind.SHANK, place, value, u_m, limit)
        other = f"right {number_text}"
        if side == "left" and other in read:
            difference_m, u = value - read[other], math.sqrt(2) * u_m
            limit = Limit(-room_m, room_m)
            sheet.judge(CheckKind.SHANK_DIFFERENCE, number_text, difference_m, u, limit)


def _belt(sheet: PrepareSheet) -> None:
    sags, u_m, own = sheet.all(ReadingKind.BELT_SAG), SPECS[ReadingKind.BELT_SAG].u, sheet.prepare
    if not sags:
        return
    low_m, whose_low = _own(own.belt_sag_low_m, measures.SAG_M - measures.SAG_ROOM_M)
    high_m, whose_high = _own(own.belt_sag_high_m, measures.SAG_M + measures.SAG_ROOM_M)
    is_own = Whose.MANUAL in (whose_low, whose_high)
    limit = Limit(low_m, high_m, Whose.MANUAL if is_own else Whose.PRACTICE)
    for place, sag_m in sags.items():
        sheet.judge(CheckKind.BELT_SAG, place, sag_m, u_m, limit)
    mean_m = fmean(sags.values())
    if len(sags) > 1:
        # One rule and one straight line for all: their error does not average out.
        sheet.judge(CheckKind.BELT_SAG_MEAN, "", mean_m, u_m, limit)
        spread_m = max(sags.values()) - min(sags.values())
        most_m, whose = _own(own.belt_sag_spread_m, measures.SAG_SPREAD_M)
        even = Limit(high=most_m, whose=whose)
        sheet.judge(CheckKind.BELT_SAG_EVENNESS, "", spread_m, math.sqrt(2) * u_m, even)
    span_m = sheet.one(ReadingKind.BELT_SPAN, own.belt_span_m)
    mass = sheet.one(ReadingKind.BELT_MASS, own.belt_kg_per_metre)
    if math.isfinite(span_m) and math.isfinite(mass):
        tension_n = formulas.sag_tension_n(mass, span_m, mean_m)
        u_span, u_mass = SPECS[ReadingKind.BELT_SPAN].u, SPECS[ReadingKind.BELT_MASS].u_of(mass)
        u_rel = math.hypot(u_m / mean_m, 2 * u_span / span_m, u_mass / mass)
        sheet.tell(Computed.BELT_TENSION, "", tension_n, tension_n * u_rel)


def _chain(sheet: PrepareSheet, name: str) -> Chain:
    """A chain as the machine file has it, its span and pitch from the readings where they are."""
    own = sheet.machine.lists.chains if sheet.machine else ()
    found = next((one for one in own if one.name.lower() == name.lower()), Chain(name))
    return replace(
        found,
        span_m=sheet.one(ReadingKind.CHAIN_SPAN, found.span_m, name),
        pitch_m=sheet.one(ReadingKind.CHAIN_PITCH, found.pitch_m, name),
    )


def _chains(sheet: PrepareSheet) -> None:
    u_m = SPECS[ReadingKind.CHAIN_SLACK].u
    for name, slack_m in sheet.all(ReadingKind.CHAIN_SLACK).items():
        chain = _chain(sheet, name)
        if math.isnan(chain.span_m):
            sheet.lacking.append(Lacking(ReadingKind.CHAIN_SPAN, name, ReadingKind.CHAIN_SLACK))
            continue
        usual_low, usual_high = measures.SLACK_SHARES[chain.runs]
        low, whose_low = _own(chain.slack_low, usual_low, Whose.GUIDANCE)
        high, whose = _own(chain.slack_high, usual_high, Whose.GUIDANCE)
        whose = Whose.MANUAL if whose_low is Whose.MANUAL else whose
        limit = Limit(low * chain.span_m, high * chain.span_m, whose)
        sheet.judge(CheckKind.CHAIN_SLACK, name, slack_m, u_m, limit)
        u_share = math.hypot(u_m, slack_m / chain.span_m * SPECS[ReadingKind.CHAIN_SPAN].u)
        share, u_share = slack_m / chain.span_m, u_share / chain.span_m
        sheet.tell(Computed.CHAIN_SLACK_SHARE, name, share, u_share)
    u_m = SPECS[ReadingKind.CHAIN_LENGTH].u
    for name, length_m in sheet.all(ReadingKind.CHAIN_LENGTH).items():
        chain, links = _chain(sheet, name), sheet.one(ReadingKind.CHAIN_LINKS, place=name)
        for what, value in (
            (ReadingKind.CHAIN_LINKS, links),
            (ReadingKind.CHAIN_PITCH, chain.pitch_m),
        ):
            if math.isnan(value):
                sheet.lacking.append(Lacking(what, name, ReadingKind.CHAIN_LENGTH))
        new_m = links * chain.pitch_m
        if math.isnan(new_m):
            continue
        usual = measures.ELONGATION_HIGH_REL
        most, whose = _own(chain.elongation_high, usual, Whose.GUIDANCE)
        limit = Limit(high=(1 + most) * new_m, whose=whose)
        sheet.judge(CheckKind.CHAIN_LENGTH, name, length_m, u_m, limit)
        longer = formulas.elongation_rel(length_m, links, chain.pitch_m)
        sheet.tell(Computed.CHAIN_ELONGATION, name, longer, u_m / new_m)


def _wear(sheet: PrepareSheet) -> None:
    for part, worn in sheet.all(ReadingKind.WEAR).items():
        # What an eye sees has no uncertainty that anybody knows.
        sheet.judge(CheckKind.WEAR, part, worn, 0.0, Limit(high=0.5, whose=Whose.EYE))
