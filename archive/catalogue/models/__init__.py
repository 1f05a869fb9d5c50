"""The tables, by subject. Import names from here."""

from archive.catalogue.models.house import (
    Drum,
    DrumFit,
    Filling,
    Ink,
    Machine,
    MixPart,
    Paper,
    Person,
    Place,
)
from archive.catalogue.models.prints import (
    Layer,
    Measurement,
    PaletteColour,
    Picture,
    ReadingsSet,
    Recipe,
    Run,
    RunFilling,
    Swatch,
)
from archive.catalogue.models.records import Change, Claim, Edit, Fact, Setting, User
from archive.catalogue.models.works import Appearance, Copy, JobFile, Variant, Work, WorkPerson

__all__ = [
    "Appearance",
    "Change",
    "Claim",
    "Copy",
    "Drum",
    "DrumFit",
    "Edit",
    "Fact",
    "Filling",
    "Ink",
    "JobFile",
    "Layer",
    "Machine",
    "Measurement",
    "MixPart",
    "PaletteColour",
    "Paper",
    "Person",
    "Picture",
    "Place",
    "ReadingsSet",
    "Recipe",
    "Run",
    "RunFilling",
    "Setting",
    "Swatch",
    "User",
    "Variant",
    "Work",
    "WorkPerson",
]
