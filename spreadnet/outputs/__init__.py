"""Everything that is written: tables, map, run record, templates."""
