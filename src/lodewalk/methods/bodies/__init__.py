"""Forward models of magnetised bodies."""

from lodewalk.methods.bodies.anomaly import (
    ambient_vector,
    anomaly_slopes,
    exact_anomaly,
    induced_magnetisation,
    projected_anomaly,
)
from lodewalk.methods.bodies.cylinder import cylinder_anomaly, polygon_field
from lodewalk.methods.bodies.dipole import dipole_field, dipole_slopes, sphere_moment
from lodewalk.methods.bodies.dyke import (
    dyke_anomaly,
    dyke_field,
    dyke_index,
    index_dyke_anomaly,
    profile_distance,
)
from lodewalk.methods.bodies.magnetisation import (
    ShapedMagnetisation,
    body_magnetisation,
    demagnetisation_factors,
    remanent_magnetisation,
    shaped_magnetisation,
)
from lodewalk.methods.bodies.multipole import shaped_dipole_field, shaped_dipole_slopes
from lodewalk.methods.bodies.polyhedron import polyhedron_field
from lodewalk.methods.bodies.prism import block_field, dipping_block, upright_block
from lodewalk.methods.bodies.prisms import prism_slopes, prisms_field
from lodewalk.methods.bodies.sections import (
    cylinder_field,
    cylinder_slopes,
    finite_polygon_field,
    finite_polygon_slopes,
    polygon_slopes,
)
from lodewalk.methods.bodies.tabular import contact_anomaly, sheet_anomaly
from lodewalk.methods.bodies.target import Body, body_anomaly, body_outline

__all__ = [
    "Body",
    "ShapedMagnetisation",
    "ambient_vector",
    "anomaly_slopes",
    "block_field",
    "body_anomaly",
    "body_magnetisation",
    "body_outline",
    "contact_anomaly",
    "cylinder_anomaly",
    "cylinder_field",
    "cylinder_slopes",
    "demagnetisation_factors",
    "dipole_field",
    "dipole_slopes",
    "dipping_block",
    "dyke_anomaly",
    "dyke_field",
    "dyke_index",
    "exact_anomaly",
    "finite_polygon_field",
    "finite_polygon_slopes",
    "index_dyke_anomaly",
    "induced_magnetisation",
    "polygon_field",
    "polygon_slopes",
    "polyhedron_field",
    "prism_slopes",
    "prisms_field",
    "profile_distance",
    "projected_anomaly",
    "remanent_magnetisation",
    "shaped_dipole_field",
    "shaped_dipole_slopes",
    "shaped_magnetisation",
    "sheet_anomaly",
    "sphere_moment",
    "upright_block",
]
