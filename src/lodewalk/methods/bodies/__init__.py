"""Forward models of magnetised bodies."""

from lodewalk.methods.bodies.anomaly import (
    ambient_vector,
    exact_anomaly,
    induced_magnetisation,
    projected_anomaly,
)
from lodewalk.methods.bodies.dipole import dipole_field, sphere_moment
from lodewalk.methods.bodies.dyke import (
    dyke_anomaly,
    dyke_field,
    dyke_index,
    index_dyke_anomaly,
    profile_distance,
)
from lodewalk.methods.bodies.polyhedron import polyhedron_field
from lodewalk.methods.bodies.prism import block_field, dipping_block, upright_block

__all__ = [
    "ambient_vector",
    "block_field",
    "dipole_field",
    "dipping_block",
    "dyke_anomaly",
    "dyke_field",
    "dyke_index",
    "exact_anomaly",
    "index_dyke_anomaly",
    "induced_magnetisation",
    "polyhedron_field",
    "profile_distance",
    "projected_anomaly",
    "sphere_moment",
    "upright_block",
]
