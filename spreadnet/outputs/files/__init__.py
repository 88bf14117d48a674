"""
What stands in the files that are written: tables, records, calendars, templates?

CSV, GeoPackage, GraphML, XLSX and iCalendar, with the meaning of every column; `write_record`
says what a run rests on.
"""

from spreadnet.outputs.files.record import (
    hindcast_record,
    libraries,
    plain,
    plan_record,
    run_number,
    run_record,
    survey_record,
    version,
    write_record,
)
from spreadnet.outputs.files.roster import write_roster
from spreadnet.outputs.files.tables import (
    hindcast_tables,
    plan_tables,
    survey_tables,
    write_meanings,
    write_tables,
)
from spreadnet.outputs.files.templates import write_templates

__all__ = [
    "hindcast_record",
    "hindcast_tables",
    "libraries",
    "plain",
    "plan_record",
    "plan_tables",
    "run_number",
    "run_record",
    "survey_record",
    "survey_tables",
    "version",
    "write_meanings",
    "write_record",
    "write_roster",
    "write_tables",
    "write_templates",
]
