"""Bodies fitted to profiles, and compact ones to windows."""

from lodewalk.methods.inversion.compact import CompactFit, fit_compact
from lodewalk.methods.inversion.fit import fit_body
from lodewalk.methods.inversion.information import floor
from lodewalk.methods.inversion.models import KINDS, Ambient, body_curve
from lodewalk.methods.inversion.noise import fit_noise
from lodewalk.methods.inversion.quick import quick_dykes
from lodewalk.methods.inversion.remanence import MagnetisationDirection, magnetisation_direction
from lodewalk.methods.inversion.results import BodyFit, Estimate, Noise, Profile, ProfileFit
from lodewalk.methods.inversion.rules import fit_problem, profile_problem

__all__ = [
    "KINDS",
    "Ambient",
    "BodyFit",
    "CompactFit",
    "Estimate",
    "MagnetisationDirection",
    "Noise",
    "Profile",
    "ProfileFit",
    "body_curve",
    "fit_body",
    "fit_compact",
    "fit_noise",
    "fit_problem",
    "floor",
    "magnetisation_direction",
    "profile_problem",
    "quick_dykes",
]
