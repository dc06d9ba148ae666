"""Forward models of magnetised bodies."""

from lodewalk.methods.bodies.anomaly import (
    ambient_vector,
    exact_anomaly,
    induced_magnetisation,
    projected_anomaly,
)
from lodewalk.methods.bodies.cylinder import cylinder_anomaly, polygon_field
from lodewalk.methods.bodies.dipole import dipole_field, sphere_moment
from lodewalk.methods.bodies.dyke import (
    dyke_anomaly,
    dyke_field,
    dyke_index,
    index_dyke_anomaly,
    profile_distance,
)
from lodewalk.methods.bodies.magnetisation import (
    body_magnetisation,
    demagnetisation_factors,
    remanent_magnetisation,
)
from lodewalk.methods.bodies.polyhedron import polyhedron_field
from lodewalk.methods.bodies.prism import block_field, dipping_block, upright_block
from lodewalk.methods.bodies.tabular import contact_anomaly, sheet_anomaly
from lodewalk.methods.bodies.target import Body, body_anomaly, body_outline

__all__ = [
    "Body",
    "ambient_vector",
    "block_field",
    "body_anomaly",
    "body_magnetisation",
    "body_outline",
    "contact_anomaly",
    "cylinder_anomaly",
    "demagnetisation_factors",
    "dipole_field",
    "dipping_block",
    "dyke_anomaly",
    "dyke_field",
    "dyke_index",
    "exact_anomaly",
    "index_dyke_anomaly",
    "induced_magnetisation",
    "polygon_field",
    "polyhedron_field",
    "profile_distance",
    "projected_anomaly",
    "remanent_magnetisation",
    "sheet_anomaly",
    "sphere_moment",
    "upright_block",
]
