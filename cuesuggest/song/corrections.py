"""What the user knows better than the analysis: absolute facts.

Never "twice as fast" or "a beat later": those would count twice when a better analysis runs again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from cuesuggest.analysis.types import FILE_CONFIG

__all__ = [
    "BarOneCorrection",
    "Correction",
    "DownbeatCorrection",
    "FormCorrection",
    "Seconds",
    "TempoCorrection",
    "TimeSignatureCorrection",
]

Seconds = Annotated[float, Field(ge=0)]


@dataclass(frozen=True, slots=True)
class DownbeatCorrection:
    """A bar starts at this time."""

    __pydantic_config__ = FILE_CONFIG

    time: Seconds
    kind: Literal["downbeat"] = "downbeat"


@dataclass(frozen=True, slots=True)
class TempoCorrection:
    """The felt beat has this tempo from one time to another."""

    __pydantic_config__ = FILE_CONFIG

    bpm: Annotated[float, Field(gt=0)]
    from_: Seconds
    to: Seconds
    kind: Literal["tempo"] = "tempo"


@dataclass(frozen=True, slots=True)
class TimeSignatureCorrection:
    """Bars have this time signature from a time on."""

    __pydantic_config__ = FILE_CONFIG

    value: Annotated[str, Field(pattern="^[1-9][0-9]?/(1|2|4|8|16)$")]
    from_: Seconds
    kind: Literal["time-signature"] = "time-signature"


@dataclass(frozen=True, slots=True)
class BarOneCorrection:
    """The bar that starts at this time is bar 1."""

    __pydantic_config__ = FILE_CONFIG

    time: Seconds
    kind: Literal["bar-one"] = "bar-one"


@dataclass(frozen=True, slots=True)
class FormCorrection:
    """The song consists of these parts, in this order; docs/form.md has the notation."""

    __pydantic_config__ = FILE_CONFIG

    text: str
    starts: tuple[Seconds, ...] = ()
    """When each part starts, where that is stated too; the bar line nearest to it is meant."""
    kind: Literal["form"] = "form"


Correction = Annotated[
    DownbeatCorrection | TempoCorrection | TimeSignatureCorrection | BarOneCorrection | FormCorrection,
    Field(discriminator="kind"),
]
