"""The rearing monitor: watches an insect house and wakes the keeper on call."""

from importlib.metadata import version

__version__ = version("rearing-monitor")
