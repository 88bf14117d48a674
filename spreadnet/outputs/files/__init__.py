"""Tables, records, calendars and templates as files, in folders that are whole or not there."""
