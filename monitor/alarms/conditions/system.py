"""Conditions of the system itself: each is signalled by the part that sees it."""

from monitor.alarms.condition import SystemCondition
from monitor.alarms.words import ConditionWords
from monitor.site.words import Priority

BROKER_GONE = SystemCondition(
    "broker-gone",
    ConditionWords(
        title="no connection to the broker",
        meaning=(
            "The monitor hears no sensor at all. Silence of single sensors is not "
            "reported while this stands."
        ),
        first_action=(
            "Look whether the broker's machine and the network are on, then restart "
            "the broker. Until then go round with a hand thermometer."
        ),
        causes=(
            "broker stopped",
            "network or router off",
            "wrong password after a change",
        ),
    ),
    Priority.URGENT,
)

STORE_FAILING = SystemCondition(
    "store-failing",
    ConditionWords(
        title="the store cannot write",
        meaning=(
            "Readings are judged but cannot be kept: they are being lost. Alarms still "
            "come."
        ),
        first_action="Free space on the monitor's disk, or replace the disk.",
        causes=("disk full", "disk failing", "file system read-only"),
    ),
    Priority.URGENT,
)

DISK_LOW = SystemCondition(
    "disk-low",
    ConditionWords(
        title="little room on the monitor's disk",
        meaning="Less than 15 % of the disk is free; a full one loses readings.",
        first_action="Delete what does not belong there, or move to a larger disk.",
        causes=("old backups", "logs", "another program on the same disk"),
    ),
    Priority.PROMPT,
)

MAIL_FAILING = SystemCondition(
    "mail-failing",
    ConditionWords(
        title="notices cannot be sent",
        meaning="A keeper could not be told of an alarm by any channel.",
        first_action=(
            "Look at the list of alarms now, and tell the others by telephone. Then "
            "check the mail account and the network."
        ),
        causes=("mail account or password", "network", "mail server"),
    ),
    Priority.PROMPT,
)

CLOCK_BEHIND = SystemCondition(
    "clock-behind",
    ConditionWords(
        title="the clock is behind the readings",
        meaning=(
            "The machine's clock is earlier than readings already stored. Readings are "
            "kept; no alarm changes until the clock is right."
        ),
        first_action="Set the machine's clock, or wait until it finds its time server.",
        causes=("no clock battery", "time server not reached"),
    ),
    Priority.URGENT,
)

CLOCK_STEPPED = SystemCondition(
    "clock-stepped",
    ConditionWords(
        title="the clock was set",
        meaning="The machine's clock jumped. Delays were carried over.",
        first_action="Look whether the time on this notice is right.",
        causes=("time server after a start", "set by hand"),
    ),
    Priority.NOTE,
    once=True,
)

STORE_DAMAGED = SystemCondition(
    "store-damaged",
    ConditionWords(
        title="the store was damaged and replaced",
        meaning=(
            "The file of readings could not be read and was moved aside. Monitoring "
            "goes on with the newest good backup, or with an empty store."
        ),
        first_action=(
            "Check cohorts and tubs with `cohort list`; keep the file that was moved "
            "aside; look at the disk."
        ),
        causes=("power cut on a poor disk", "failing disk"),
    ),
    Priority.PROMPT,
    once=True,
)

READINGS_REFUSED = SystemCondition(
    "readings-refused",
    ConditionWords(
        title="messages are being set apart",
        meaning="Messages come in that are no readings; they are kept apart, not used.",
        first_action="See `now` for the reasons; mend the topic, unit or payload.",
        causes=(
            "a new sensor not yet in site.toml",
            "a sensor's firmware",
            "a failed sensor",
        ),
    ),
    Priority.NOTE,
)

SUMMARY_FAILING = SystemCondition(
    "summary-failing",
    ConditionWords(
        title="the weekly summary could not be made",
        meaning="It is tried again every quarter of an hour. Watching goes on.",
        first_action="Try `rearing-monitor summary` by hand: it says what is wrong.",
        causes=("disk full", "a damaged file", "a fault of the program"),
    ),
    Priority.NOTE,
)

BACKUP_FAILING = SystemCondition(
    "backup-failing",
    ConditionWords(
        title="the daily backup could not be made",
        meaning="The store has no fresh copy. Watching goes on.",
        first_action="Free space on the monitor's disk; the next try is in 15 min.",
        causes=("little room on the disk", "failing disk"),
    ),
    Priority.PROMPT,
)

SYSTEM = (
    BROKER_GONE,
    STORE_FAILING,
    DISK_LOW,
    MAIL_FAILING,
    CLOCK_BEHIND,
    CLOCK_STEPPED,
    STORE_DAMAGED,
    READINGS_REFUSED,
    SUMMARY_FAILING,
    BACKUP_FAILING,
)
