"""The types of the case file's keys. ``extra["check"]`` names the check of ``checks.py`` to run."""

import datetime as dt
from typing import Annotated, Literal

from msgspec import Meta

LocalTime = Annotated[dt.datetime, Meta(tz=False, description="Local time, no offset.")]
Day = Annotated[dt.date, Meta(description="Day, such as 2026-03-01.")]
Id = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$",
        description="Letters, digits, dot, dash and underscore; unique in the case.",
    ),
]
Component = Annotated[
    str, Meta(description="<place>.<kind>", extra={"check": "component"}, examples=["left.curtain"])
]
DoneTo = Annotated[
    str,
    Meta(description="<place>.<kind>, battery or codes", extra={"check": "done-to"}),
]
Loop = Annotated[
    str,
    Meta(description="<component>/<stage>", extra={"check": "loop"}, examples=["left.curtain/1"]),
]
Rule = Annotated[str, Meta(description="A component or a kind.", extra={"check": "rule"})]
PriceKey = Annotated[
    str,
    Meta(description="A component, a kind, a task or labour-hour.", extra={"check": "price-key"}),
]
Item = Annotated[
    str, Meta(description="Id of a work item, as `work` prints it.", extra={"check": "item"})
]
Passable = Annotated[
    str, Meta(description="A gate, a step or a work item.", extra={"check": "passed"})
]
CaseFolderFile = Annotated[
    str,
    Meta(min_length=1, description="Path inside the case folder.", extra={"check": "file"}),
]
Region = Annotated[
    str, Meta(description="ISO 3166-1 or 3166-2, such as US-OH.", extra={"check": "region"})
]
Currency = Annotated[str, Meta(description="ISO 4217, such as USD.", extra={"check": "currency"})]
Vin = Annotated[str, Meta(description="17 characters, no I, O, Q.", extra={"check": "vin"})]
TemplateName = Annotated[
    str, Meta(description="An equipment template.", extra={"check": "template"})
]
ProfileName = Annotated[
    str, Meta(description="A rule profile, or unknown.", extra={"check": "profile"})
]
Year = Annotated[int, Meta(ge=1970, le=2060, description="Model year.")]
Volts = Annotated[float, Meta(ge=0, le=60, description="[V]")]
Kilograms = Annotated[float, Meta(ge=0, le=300, description="[kg]")]
Celsius = Annotated[float, Meta(ge=-60, le=90, description="[degC]")]
SpeedChangeKmh = Annotated[float, Meta(ge=-300, le=300, description="[km/h]")]
Uncertainty = Annotated[
    float, Meta(ge=0, le=1e9, description="Standard uncertainty, unit of the value.")
]
NotNegative = Annotated[float, Meta(ge=0, le=1e9)]
Ohm = Annotated[float, Meta(ge=0, le=1000, description="[ohm]")]
Clock = Annotated[int, Meta(ge=1, le=12, description="Direction of force, 12 = from the front.")]
Stages = Annotated[int, Meta(ge=1, le=4, description="Number of circuits.")]
Order = Annotated[int, Meta(ge=1, le=9)]
Word = Annotated[str, Meta(min_length=1)]

ReadingUnit = Literal[
    "ohm",
    "mohm",
    "kohm",
    "Mohm",
    "V",
    "mV",
    "mA",
    "A",
    "kg",
    "mm",
    "deg",
    "degC",
    "s",
    "%",
    "count",
]
