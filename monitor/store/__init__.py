"""The record: one SQLite file with one writer; the only room that imports sqlite3."""

from monitor.store.connection import sqlite_in_wal_reset_range
from monitor.store.disk import disk_share_free
from monitor.store.reader import Reader
from monitor.store.writer import Writer

__all__ = ["Reader", "Writer", "disk_share_free", "sqlite_in_wal_reset_range"]
