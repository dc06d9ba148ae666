"""Every step of the processing graph, declared once; implementations load when they run.

This module imports nothing heavy, so that "nothing to do" costs nothing.
"""

from graphlib import TopologicalSorter

from lodewalk.errors import InputError
from lodewalk.steps.declared_rocks import ROCKS
from lodewalk.steps.step import Step, ingest

STEPS = (
    ingest("rover", "Reads the readings of the rovers."),
    ingest("base", "Reads the record of the base."),
    ingest("track", "Reads the tracks of the handheld GPS."),
    ingest("plan", "Reads the planned lines."),
    ingest("observatory", "Reads the series of an observatory."),
    ingest("notes", "Reads the field notes."),
    ingest("older", "Reads older surveys and airborne grids to join."),
    ingest("known", "Reads what boreholes and outcrops tell."),
    ingest("area", "Reads the area to survey.", before_going=True),
    ingest("exclusion", "Reads what the survey keeps clear of.", before_going=True),
    ingest("terrain", "Reads the terrain model.", before_going=True),
    ingest("hand_meter", "Reads hand-meter readings of rocks.", before_going=True),
    Step(
        "plan",
        "Lays out lines, tie lines, base and days of a survey to come, and reckons its effort.",
        3,
        ("plan", "planned_lines", "planned_points"),
        (
            "area_recorded", "exclusion_recorded", "terrain_recorded", "hand_meter_files",
            "hand_meter_recorded",
        ),
        ("survey.crs", "body", "host", "survey_noise", "plan", "effort", "handheld"),
        before_going=True,
    ),
    Step(
        "time",
        "Turns recorded times into UTC.",
        3,
        (
            "rover_times", "base_times", "track_times", "observatory_times", "notes_times",
            "rover_clock_times", "base_clock_times",
        ),
        (
            "rover_files", "rover_recorded", "base_files", "base_recorded", "track_files",
            "track_recorded", "observatory_files", "observatory_recorded", "notes_files",
            "notes_recorded",
        ),
        decisions=("clock",),
    ),
    Step(
        "position",
        "Gives each rover reading its place, from its own fix, a track or the local grid, with the "
        "measured arm and the decided lag.",
        3,
        (
            "rover_positions", "rover_recorded_positions", "rover_heights", "position_findings",
        ),
        (
            "rover_files", "rover_recorded", "rover_times", "track_files", "track_recorded",
            "track_times",
        ),
        (
            "survey.crs", "position", "instruments.*.sensor_height_m", "instruments.*.geoid_m",
            "instruments.*.position_sd_m",
            "instruments.*.ahead_m", "instruments.*.right_m",
        ),
        ("lag",),
    ),
    Step(
        "first_checks",
        "Looks for gaps, duplicates, times out of order, dropouts, spikes and what disturbed the "
        "base; measures the noise.",
        6,
        ("rover_checks", "base_checks", "first_findings"),
        (
            "rover_files", "rover_recorded", "rover_times", "rover_positions",
            "base_files", "base_recorded", "base_times",
        ),
        ("checks",),
        ("clock", "drop", "keep", "move"),
    ),
    Step(
        "lines",
        "Tells the survey lines apart, by marks, by plan or by the track.",
        4,
        ("rover_lines", "lines"),
        (
            "rover_files", "rover_recorded", "rover_times", "rover_positions", "rover_checks",
            "plan_recorded",
        ),
        ("survey.crs", "lines"),
    ),
    Step(
        "crossings",
        "Finds the places that were read at two times.",
        2,
        ("crossings",),
        (
            "rover_files", "rover_recorded", "rover_times", "rover_positions", "rover_checks",
            "rover_lines",
        ),
    ),
    Step(
        "clock_evidence",
        "Tells how far each clock is off, from independent kinds of evidence.",
        4,
        ("clock_evidence", "clock_findings"),
        (
            "rover_files", "rover_recorded", "rover_times", "rover_clock_times", "rover_checks",
            "rover_positions", "rover_recorded_positions", "rover_lines", "lines", "crossings",
            "base_files", "base_recorded", "base_times", "base_clock_times", "base_checks",
            "track_files", "track_recorded", "track_times", "plan_recorded", "notes_recorded",
            "notes_times",
        ),
        (
            "survey.crs", "survey.time_zone", "position", "lines",
            "instruments.*.sensor_height_m", "instruments.*.position_sd_m",
        ),
        ("clock", "test"),
    ),
    Step(
        "ties",
        "Finds how far each base, at each of its places, lies above the datum, from the ties "
        "between them.",
        1,
        ("datum_network", "datum_findings"),
        (
            "base_files", "base_recorded", "base_times", "base_checks", "rover_files", "crossings",
        ),
        (
            "diurnal", "level.constant_nT", "instruments.*.site_tie_nT",
            "instruments.*.easting_m", "instruments.*.northing_m",
        ),
        ("move",),
    ),
    Step(
        "diurnal",
        "Takes the change of the field with time, as the base saw it, off each reading.",
        5,
        ("rover_diurnal", "datum", "diurnal_findings"),
        (
            "datum_network", "base_files", "base_recorded", "base_times", "base_checks",
            "rover_files", "rover_times", "crossings", "observatory_files", "observatory_recorded",
            "observatory_times",
        ),
        ("diurnal", "datum"),
        ("bridge", "move"),
    ),
    Step(
        "lag",
        "Tells how far the field's times are from the positions', and what that amounts to.",
        3,
        ("lag", "lag_findings"),
        (
            "rover_files", "rover_recorded", "rover_times", "rover_clock_times", "rover_checks",
            "rover_positions", "rover_recorded_positions", "rover_lines", "lines",
            "rover_diurnal", "clock_findings", "plan_recorded",
        ),
        ("survey.crs", "lines", "instruments.*.ahead_m", "instruments.*.right_m"),
        ("lag",),
    ),
    Step(
        "minutes",
        "Judges minute by minute how far the diurnal correction can be wrong.",
        2,
        ("base_minutes",),
        (
            "base_files", "base_recorded", "base_times", "base_checks", "rover_times",
            "rover_positions",
        ),
        (
            "diurnal", "tolerances", "instruments.*.easting_m", "instruments.*.northing_m",
        ),
        ("move",),
    ),
    Step(
        "walked",
        "Tells how much of the lines is covered, and what is odd about where they were walked.",
        4,
        ("walked", "walked_findings"),
        (
            "rover_files", "rover_recorded", "rover_times", "rover_positions", "rover_checks",
            "rover_lines", "lines", "rover_diurnal", "plan_recorded", "track_files",
            "track_recorded", "track_times",
        ),
        ("survey.crs", "lines", "position", "tolerances"),
    ),
    Step(
        "culture",
        "Tells what in the rover's readings may be no rock: iron, fences, mains, lost lock; and "
        "the noise envelope of each line.",
        3,
        ("rover_culture", "line_noise", "culture_findings"),
        (
            "rover_files", "rover_recorded", "rover_times", "rover_positions", "rover_checks",
            "rover_lines", "lines", "notes_recorded", "notes_times",
        ),
        ("survey.crs", "tolerances.noise_nT"),
    ),
    Step(
        "trials",
        "Takes the figures of the tests of set-up and cleanliness.",
        4,
        ("trials", "trial_findings"),
        (
            "rover_files", "rover_recorded", "rover_times", "rover_positions", "rover_checks",
            "rover_lines", "lines", "rover_diurnal", "notes_recorded", "notes_times",
        ),
        ("survey.time_zone", "tolerances"),
        ("test",),
    ),
    Step(
        "reference",
        "Computes the reference field at each reading, at the datum's epoch.",
        2,
        ("rover_reference", "reference_findings"),
        (
            "rover_files", "rover_recorded", "rover_positions", "rover_heights", "rover_times",
            "datum",
        ),
        ("tolerances.reference_nT",),
    ),
    Step(
        "heading",
        "Takes off what each rover reads too much for the way in which its operator faces.",
        1,
        ("rover_heading", "heading", "heading_findings"),
        (
            "rover_files", "rover_recorded", "rover_times", "rover_positions", "rover_heights",
            "rover_checks", "rover_lines", "lines", "crossings", "rover_diurnal", "datum",
            "notes_recorded", "notes_times",
        ),
        ("heading", "survey.crs", "tolerances.heading_nT"),
        ("test",),
    ),
    Step(
        "rovers",
        "Finds what each rover reads above the most-read one, from tests and crossings.",
        1,
        ("rover_instrument", "rover_network", "rover_findings"),
        (
            "rover_files", "rover_recorded", "rover_times", "rover_checks", "rover_lines", "lines",
            "crossings", "rover_diurnal", "rover_heading", "notes_recorded", "notes_times",
        ),
        ("rovers.apply", "level.constant_nT"),
        ("test",),
    ),
    Step(
        "level",
        "Levels the lines by their crossings.",
        3,
        ("rover_level", "level", "level_findings"),
        (
            "rover_times", "rover_checks", "rover_lines", "lines", "crossings", "rover_diurnal",
            "rover_instrument", "rover_heading",
        ),
        ("level",),
    ),
    Step(
        "micro_level",
        "Takes small stripes along the lines off, up to a limit, where that is asked for.",
        1,
        ("rover_micro_level", "micro_level", "micro_level_findings"),
        (
            "rover_recorded", "rover_positions", "rover_checks", "rover_lines", "lines",
            "rover_diurnal", "rover_reference", "rover_instrument", "rover_heading", "rover_level",
        ),
        ("micro_level",),
    ),
    Step(
        "noise",
        "Measures the noise of the sensor, passage by passage.",
        1,
        ("rover_noise",),
        (
            "rover_files", "rover_recorded", "rover_times", "rover_checks", "rover_lines",
            "lines",
        ),
    ),
    Step(
        "budget",
        "Gives the error budget of each reading, part by part.",
        4,
        ("rover_budget", "budget"),
        (
            "rover_files", "rover_recorded", "rover_times", "rover_checks", "rover_lines",
            "rover_positions", "rover_heights", "rover_noise", "rover_diurnal", "rover_reference",
            "rover_instrument", "rover_heading", "rover_level", "rover_micro_level", "level",
            "datum_network", "base_files", "base_recorded", "base_times", "base_checks",
            "clock_evidence", "datum",
        ),
        (
            "survey.time_zone", "diurnal", "clocks", "instruments.*.easting_m",
            "instruments.*.northing_m",
        ),
        ("move",),
    ),
    Step(
        "missed",
        "Tells which buried targets the survey as walked would not have shown.",
        1,
        ("missed", "target_grids", "missed_findings"),
        (
            "rover_times", "rover_positions", "rover_heights", "rover_checks", "rover_lines",
            "rover_diurnal", "rover_noise", "datum",
        ),
        ("survey.crs", "targets"),
    ),
    Step(
        "readings",
        "Joins the columns of all steps and computes the anomaly.",
        3,
        ("readings",),
        (
            "rover_files", "rover_recorded", "rover_times", "rover_positions", "rover_checks",
            "rover_lines", "rover_diurnal", "rover_reference", "rover_instrument", "rover_heading",
            "rover_level", "rover_micro_level", "rover_budget",
        ),
    ),
    Step(
        "join",
        "Brings older surveys to this one's epoch, height and datum, and gives their offsets.",
        1,
        ("join", "joined", "join_findings"),
        ("older_files", "older_recorded", "readings", "rover_lines", "rover_heights"),
        ("survey.crs", "older"),
    ),
    Step(
        "surface",
        "Chooses the grid's tension and damping, and what is carried along the strike, by lines "
        "that are left out.",
        4,
        ("surface",),
        ("readings", "rover_lines"),
        ("grid.method", "grid.tension", "grid.damping_m2"),
    ),
    Step(
        "standard_error",
        "Tells how sure the grid is, near the lines and between them.",
        4,
        ("error_grids", "error_notes"),
        ("readings", "rover_lines", "rover_budget", "surface"),
        ("survey.crs", "grid.method", "grid.reach_m"),
    ),
    Step(
        "grid",
        "Grids the anomaly, its standard error beside it.",
        5,
        ("grids", "grid_notes"),
        ("readings", "rover_lines", "surface", "error_grids"),
        ("survey.crs", "grid"),
    ),
    *ROCKS,
    Step(
        "check",
        "Gathers findings and gives each line and day its verdict.",
        5,
        ("check", "check_findings", "rewalk"),
        (
            "position_findings", "first_findings", "clock_findings", "lag_findings",
            "datum_findings", "diurnal_findings", "reference_findings",
            "trial_findings", "walked_findings", "culture_findings", "clock_evidence", "trials",
            "missed_findings", "missed", "walked", "lines", "line_noise",
            "base_files", "base_recorded", "base_times", "base_checks", "base_minutes",
            "rover_files", "rover_times", "rover_positions", "rover_diurnal", "rover_checks",
            "rover_lines", "rover_noise",
        ),
        ("survey.crs", "survey.time_zone", "tolerances", "diurnal"),
        ("tick", "move"),
    ),
    Step(
        "summary",
        "Sums the survey up in figures.",
        2,
        ("summary",),
        ("readings", "lines", "datum", "budget", "grids", "grid_notes", "error_notes"),
    ),
    Step(
        "feasibility",
        "Tells the anomaly to expect of the body that is sought, the odds of finding it with the "
        "survey that is planned, and what would change them most.",
        3,
        ("feasibility", "expected_grids"),
        ("area_recorded", "hand_meter_files", "hand_meter_recorded"),
        ("survey.crs", "body", "host", "survey_noise", "plan", "effort.pace_m_s"),
        before_going=True,
    ),
)  # fmt: skip


def step_named(name: str) -> Step:
    """Return the step called `name`.

    Examples
    --------
    >>> step_named("reference").products
    ('rover_reference', 'reference_findings')
    """
    for step in STEPS:
        if step.name == name:
            return step
    raise InputError(
        "No step has this name.",
        value=name,
        remedy=f"Steps are {', '.join(step.name for step in STEPS)}.",
    )


def producer_of(product: str) -> Step:
    """Return the step that makes `product`."""
    return next(step for step in STEPS if product in step.products)


def needed_for(target: str | None = None) -> tuple[Step, ...]:
    """Return the steps needed for `target`, each after those whose products it reads.

    Without a target these are all but the steps before going.
    """
    wanted = [step_named(target)] if target else [s for s in STEPS if not s.before_going]
    graph: dict[str, list[str]] = {}
    while wanted:
        step = wanted.pop()
        if step.name not in graph:
            before = [producer_of(product) for product in step.inputs]
            graph[step.name] = [item.name for item in before]
            wanted.extend(before)
    order = {name: place for place, name in enumerate(TopologicalSorter(graph).static_order())}
    return tuple(sorted((s for s in STEPS if s.name in order), key=lambda s: order[s.name]))
