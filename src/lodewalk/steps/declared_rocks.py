"""The steps from the map to the rocks, declared once; see `declarations`."""

from lodewalk.steps.step import Step

ROCKS = (
    Step(
        "transforms",
        "Transforms the grid: continuation, derivatives, reductions, regional and residual.",
        4,
        ("transform_grids", "transform_notes"),
        (
            "grids", "grid_notes", "error_notes", "datum", "rover_positions", "rover_heights",
            "rover_times",
        ),
        ("survey.crs", "transforms"),
    ),
    Step(
        "trace",
        "Traces ridges, edges and spots of the grid, with strike, evidence and offsets by faults.",
        3,
        ("lineaments", "lineament_points", "faults", "trace_notes"),
        (
            "grids", "transform_grids", "readings", "rover_lines", "lines", "rover_culture",
        ),
        ("trace",),
    ),
    Step(
        "picks",
        "Cuts a profile of readings across each lineament where a line crosses it.",
        4,
        ("picks", "profiles", "pick_notes"),
        (
            "readings", "rover_lines", "lines", "rover_positions", "rover_heights", "rover_culture",
            "budget", "lineaments", "lineament_points",
        ),
        ("fits.window", "position.height_m", "instruments.*.sensor_height_sd_m"),
        ("pick", "refuse"),
    ),
    Step(
        "fits",
        "Fits a body to each profile, and one to all profiles of a lineament together.",
        3,
        ("bodies", "curves", "fit_notes"),
        (
            "picks", "profiles", "lineaments", "rover_positions", "rover_heights", "rover_times",
            "datum", "known_files", "known_recorded",
        ),
        ("survey.crs",),
    ),
    Step(
        "dips",
        "Tells the dip of each body under the stated magnetisation, and its range under remanence.",
        1,
        ("dips",),
        (
            "bodies", "picks", "known_recorded", "rover_positions", "rover_heights", "rover_times",
            "datum",
        ),
        (
            "survey.crs", "fits.magnetisation", "fits.koenigsberger",
            "transforms.magnetisation_inclination_deg", "transforms.magnetisation_declination_deg",
        ),
    ),
    Step(
        "compact",
        "Fits a compact body to the readings around each spot, and tells its magnetisation.",
        1,
        ("compact_bodies", "compact_curves", "compact_notes"),
        (
            "readings", "rover_lines", "lines", "rover_positions", "rover_heights", "rover_culture",
            "budget", "rover_times", "datum", "lineaments", "picks",
        ),
        ("survey.crs", "position.height_m", "instruments.*.sensor_height_sd_m"),
        ("pick",),
    ),
    Step(
        "depth",
        "Tells the depth below each pick by every method and as one calibrated answer.",
        4,
        ("depths", "depth_notes"),
        ("picks", "profiles", "bodies", "fit_notes", "lineaments", "readings",
         "rover_positions", "grids"),
    ),
)  # fmt: skip
