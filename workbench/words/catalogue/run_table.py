"""What is said of a run table, and of a table in which rows are numbers."""

from __future__ import annotations

from workbench.calibration.readout.run_table import RunTableSays, TableSays
from workbench.calibration.readout.runs import RunSays
from workbench.calibration.typed_rows import RowSays
from workbench.words.language import N_, Plural, Template

SENTENCES: dict[str, Template] = {
    RunSays.RUN_NAMED: N_("run {run}"),
    RunSays.RUN_AT_LINE: N_("line {line} (run {run})"),
    RunSays.WHOLE_RECORDING: N_("the whole recording"),
    RowSays.IN_TABLE: N_("{table}, line {line}"),
    RowSays.AT_LINE: N_("{table}, line {line}: {found}."),
    RowSays.AT_COLUMN: N_("{table}, line {line}, column {column}: {found}."),
    RowSays.COLUMNS_UNKNOWN: Plural(
        "column '{columns}' is not known and was left aside; known are {known}",
        "columns '{columns}' are not known and were left aside; known are {known}",
    ),
    RowSays.LINE_UNREADABLE: N_("it is no line of a table; it was left out"),
    RowSays.CELLS_TOO_MANY: N_(
        "{cells} cells under {columns} columns; the line was left out (a decimal comma in a "
        "table separated by commas?)"
    ),
    RowSays.CELL_EMPTY: N_("it is empty; expected a number; {so}"),
    RowSays.CELL_NO_NUMBER: N_("it is '{cell}'; expected a number; {so}"),
    TableSays.LINE_LEFT_OUT: N_("the line was left out"),
    TableSays.STRETCH_WRONG: N_(
        "from_s must be before to_s and shown above 0; the line was left out"
    ),
    TableSays.DIRECTION_WRONG: N_("it is '{cell}'; expected up or down; the line was left out"),
    TableSays.FLIP_WRONG: N_("a time and a shown value above 0 are needed; the line was left out"),
    RunTableSays.RUN_LEFT_OUT: N_("the run was left out"),
    RunTableSays.LAPS_LEFT_OUT: N_("the laps of this run were left out"),
    RunTableSays.PULSES_LEFT_OUT: N_("the pulses of this run were left out"),
    RunTableSays.SHOWN_IN_OTHER_UNIT: N_(
        "it is '{cell}', but the readout shows {unit}; the run was left out"
    ),
    RunTableSays.SHOWN_NO_BELT_SPEED: N_(
        "it is {shown:g} {unit}, no speed a belt runs at; the run was left out"
    ),
    RunTableSays.PARTNER_EMPTY: N_("it is empty, but its partner is not; {so}"),
    RunTableSays.COUNT_NOT_WHOLE: N_("it is {count:g}; expected a whole number, 1 or more; {so}"),
    RunTableSays.TIME_OUT_OF_RANGE: N_(
        "it is {time_s:g}; expected seconds above 0 and below a day; {so}"
    ),
    RunTableSays.REFERENCE_WRONG: N_(
        "'{cell}' with u '{u_cell}'; expected a speed in m/s and its standard uncertainty; the "
        "reference was left out"
    ),
    RunTableSays.TIMING_WRONG: N_(
        "it is '{cell}'; expected seconds above 0; a hand's {hand_s:g} s was taken"
    ),
    RunTableSays.WANDER_WRONG: N_(
        "it is '{cell}'; expected a share from 0 to 0.1; the usual was taken"
    ),
    RunTableSays.SPEED_IMPLAUSIBLE: N_(
        "{count:g} in {time_s:g} s is a belt speed of {speed_mps:speed}; {so}"
    ),
    RunTableSays.NOTHING_COUNTED: N_(
        "it has neither laps nor pulses with a time; the run was left out"
    ),
    RunTableSays.SAME_LINE_TWICE: N_(
        "number '{run}' stands in line {other} too, with the same values; it was counted once"
    ),
    RunTableSays.SAME_NUMBER_TWICE: N_("number '{run}' stands in line {other} too; both were kept"),
    RunTableSays.SHOWN_OFF_STEP: N_(
        "{table}, line {lines}, column shown: {shown:g} is no multiple of the display's step "
        "{step:g} (readout.step in the machine file); it was kept. Is the step right?"
    ),
}
