"""The record: one SQLite file with one writer; the only room that imports sqlite3."""
