"""`evenpace speed`: belt speed from the pulses of a recording."""

from __future__ import annotations

import argparse
import math

from workbench.cli import DONE
from workbench.cli.arguments import add_particulars, add_source, particulars_of, source_of, words_of
from workbench.cli.output import print_simulated, print_table, show_answer
from workbench.jobs.keep import keep
from workbench.jobs.speed.answer import SourceSpeed, SpeedAnswer, SpeedOptions
from workbench.jobs.speed.compute import compute
from workbench.words.language import _
from workbench.words.words import Words


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    parser.add_argument(
        "--channel", metavar="NAME", help=_("the pulse channel (default: the first)")
    )
    add_particulars(parser)


def run(args: argparse.Namespace) -> int:
    source, options = source_of(args), SpeedOptions(args.channel)
    words = words_of(args, source.machine)
    answer = compute(source.recording, source.machine, options)
    kept = keep("speed", answer, options, source, particulars_of(args))
    show_answer(args, answer, kept, words, lambda: _print(answer, words))
    return DONE


def _print(answer: SpeedAnswer, words: Words) -> None:
    rows = []
    if answer.channel is not None:
        rows.append((_("Channel"), answer.channel))
        if math.isfinite(answer.belt_speed_mps):
            speed = words.number("speed", answer.belt_speed_mps, answer.U_belt_speed_mps)
            rows.append((_("Belt speed"), f"{speed} (k = {answer.k:.3g})"))
            low, high = (
                words.number("speed", speed) for speed in (answer.lowest_mps, answer.highest_mps)
            )
            rows.append(
                (_("Slowest, fastest turn"), _("{low} to {high}").format(low=low, high=high))
            )
        if math.isfinite(answer.pulse_rate_hz):
            rows.append((_("Pulses a second"), f"{answer.pulse_rate_hz:.6g}"))
            rows.append((_("Duration"), f"{answer.duration_s:.2f} s"))
            rows.append((_("Turns of the target wheel"), f"{answer.turns:.1f}"))
        counts = _("{edges}, {missed} missed, {extra} extra")
        rows.append(
            (
                _("Pulses"),
                counts.format(edges=answer.edges, missed=answer.missed, extra=answer.extra),
            )
        )
        teeth = answer.target_teeth_seen
        rows.append((_("Teeth as the signal says"), str(teeth) if teeth else _("not clear")))
    if rows:
        print_table(answer.source, rows)
    if answer.speeds:
        header = [
            _("source"),
            _("what it is"),
            _("mean"),
            _("lowest"),
            _("highest"),
            _("values"),
            _("no value"),
        ]
        print_table(_("Speed sources"), [_row(one, words) for one in answer.speeds], header)
    print_simulated(answer.simulated)


def _row(speed: SourceSpeed, words: Words) -> tuple[str, ...]:
    counts = (str(speed.values), str(speed.no_value))
    if not speed.values:
        return (speed.source, speed.label, _("no value"), "", "", *counts)
    mean = words.number("speed", speed.speed_mps, speed.U_speed_mps)
    extremes = [words.number("speed", v) for v in (speed.lowest_mps, speed.highest_mps)]
    return (speed.source, speed.label, f"{mean} (k = {speed.k:.3g})", *extremes, *counts)
