"""Spikes and culture in the readings of rovers, by probable cause; the noise of each line."""

from lodewalk.methods.checks.culture.classify import classify_rover
from lodewalk.methods.checks.culture.courses import LinearFeatures, find_linear_features, line_ends
from lodewalk.methods.checks.culture.envelope import NoiseEnvelope, noise_envelope
from lodewalk.methods.checks.culture.events import CAUSES, NOTE_WORDS, Notes, RoverEvents
from lodewalk.methods.checks.culture.mains import Beats, find_beats
from lodewalk.methods.checks.culture.sources import Sources, find_sources, narrowest_width

__all__ = [
    "CAUSES",
    "NOTE_WORDS",
    "Beats",
    "LinearFeatures",
    "NoiseEnvelope",
    "Notes",
    "RoverEvents",
    "Sources",
    "classify_rover",
    "find_beats",
    "find_linear_features",
    "find_sources",
    "line_ends",
    "narrowest_width",
    "noise_envelope",
]
