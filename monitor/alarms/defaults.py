"""
Delays and deadbands where neither species nor site says others.

They fit tubs, whose substrate follows the air only within hours: own choice, with
the deadband of temperature about 1 % of a probe's range (EEMUA 191, as told by an
alarm handbook's summary). Everything here can be set in site.toml, [alarms].
"""

from datetime import timedelta

from monitor.site.words import Priority, Quantity

_MIN = timedelta(minutes=1)

ON_DELAY = {
    Quantity.AIR_TEMPERATURE: 20 * _MIN,
    Quantity.SUBSTRATE_TEMPERATURE: 30 * _MIN,
    Quantity.RELATIVE_HUMIDITY: 60 * _MIN,
    Quantity.SUBSTRATE_MOISTURE: 60 * _MIN,
    Quantity.CARBON_DIOXIDE: 20 * _MIN,
    Quantity.AMMONIA: 20 * _MIN,
    Quantity.MAINS: 1 * _MIN,
    Quantity.HEATER: 20 * _MIN,
    Quantity.HUMIDIFIER: 60 * _MIN,
    Quantity.LIGHT: 60 * _MIN,
    Quantity.DOOR: 10 * _MIN,
    Quantity.LEAK: 1 * _MIN,
}
"""Outside the tolerated band for so long makes the alarm."""

OFF_DELAY = {
    quantity: 20 * _MIN
    if quantity in (Quantity.RELATIVE_HUMIDITY, Quantity.SUBSTRATE_MOISTURE)
    else 10 * _MIN
    for quantity in Quantity
}
"""Back by the deadband for so long ends it."""

DEADBAND = {
    Quantity.AIR_TEMPERATURE: 0.5,
    Quantity.SUBSTRATE_TEMPERATURE: 0.5,
    Quantity.RELATIVE_HUMIDITY: 3.0,
    Quantity.SUBSTRATE_MOISTURE: 2.0,
    Quantity.CARBON_DIOXIDE: 100.0,
    Quantity.AMMONIA: 2.0,
    Quantity.MAINS: 0.0,
    Quantity.HEATER: 0.0,
    Quantity.HUMIDIFIER: 0.0,
    Quantity.LIGHT: 0.0,
    Quantity.DOOR: 0.0,
    Quantity.LEAK: 0.0,
}
"""In the unit of each quantity."""

SILENT_INTERVALS = 3
"""A sensor that misses so many intervals is silent."""

SILENT_AT_LEAST = 5 * _MIN
"""And never before this."""

UNTRUSTED_URGENT = 30 * _MIN
"""No reading at all for so long where animals depend on it is urgent."""

RING_AGAIN = {
    Priority.URGENT: 30 * _MIN,
    Priority.PROMPT: 120 * _MIN,
    Priority.NOTE: 24 * 60 * _MIN,
}
"""An answer is no repair: an answered alarm that is no better by then rings again."""

REPEAT_PROMPT = 4
"""After everybody was told once, a prompt alarm waits so many times longer."""
