"""
What can go wrong, one class per reaction.

    MonitorError                 one line for people, and an exit code
    ├── UsageError               2   wrong usage, or a bad value in a named file
    ├── UnreachableError         69  the daemon or the store cannot be reached
    ├── ConfigError              78  a wrong configuration; names file, key, value, mend
    ├── RefusedError             1   the daemon understood and says no, and why
    └── StoreError               69  the store cannot do what was asked
        ├── StoreFullError           no space: readings may be lost, alarms go on
        └── StoreBusyError           another process holds the writer's lock
"""


class MonitorError(Exception):
    """Something that a person can mend; its text is one line in their words."""

    exit_code = 1


class UsageError(MonitorError):
    """A command was called wrongly, or a named file holds a bad value."""

    exit_code = 2


class UnreachableError(MonitorError):
    """The daemon or the store cannot be reached."""

    exit_code = 69


class ConfigError(MonitorError):
    """A configuration file is wrong; the text names file, key, value and mend."""

    exit_code = 78


class RefusedError(MonitorError):
    """The request was understood and is refused; the text says why."""

    exit_code = 1


class StoreError(MonitorError):
    """The store cannot do what was asked."""

    exit_code = 69


class StoreFullError(StoreError):
    """The disk has no room for a commit."""


class StoreBusyError(StoreError):
    """Another process holds the writer's lock of this store."""
