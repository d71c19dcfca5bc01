"""All record commands in one tuple."""

from monitor.cli.alarms import COMMANDS as ALARMS
from monitor.cli.cohort import COMMANDS as COHORT
from monitor.cli.command import Command
from monitor.cli.export import COMMANDS as EXPORT
from monitor.cli.now_command import COMMANDS as NOW
from monitor.cli.place import COMMANDS as PLACE
from monitor.cli.reading import COMMANDS as READING
from monitor.cli.sensor import COMMANDS as SENSOR
from monitor.cli.survey import COMMANDS as SURVEY

COMMANDS: tuple[Command, ...] = (
    *NOW,
    *ALARMS,
    *PLACE,
    *SURVEY,
    *COHORT,
    *READING,
    *SENSOR,
    *EXPORT,
)
"""Every command on the records of the house."""
