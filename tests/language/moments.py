"""Moments in a job, small enough to read and large enough to confuse."""

from __future__ import annotations

from companion.ports import ChoiceVocabulary, PointVocabulary, Scope

SUPPLY = PointVocabulary(
    "supply-static", ("supply static", "supply"), "inH2O", ("Pa",), awaited=True
)
PRIMARY = PointVocabulary("primary-voltage", ("primary", "line voltage"), "V")
TEMPERATURE = PointVocabulary("return-temperature", ("return temperature",), "degF")
VOLTAGE = ChoiceVocabulary(
    "primary", (("120", ("one twenty",)), ("240", ("two forty",)), ("none", ("no",)))
)

STEP = Scope("step", points=(SUPPLY, PRIMARY, TEMPERATURE))
CHOOSING = Scope("choice", points=(SUPPLY,), choice=VOLTAGE)
