"""Noise against which a target has to show: the sensor's, and geology that isn't sought."""

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_positive, check_same_length


def noise_with_background(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    *,
    sensor_sd_nT: ArrayLike,
    background_nT: float,
    width_m: float,
) -> FloatArray:
    """Return the sd that single readings would need if a shared background were their own noise.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions of the readings [m].
    sensor_sd_nT : array, shape (n,)
        Noise of each reading by itself, 0 or more [nT].
    background_nT : float
        Sd of the background (geology not sought) within the width of the anomaly, 0 or more [nT].
    width_m : float
        Width of the anomaly, about the depth below the sensor [m].

    Returns
    -------
    array, shape (n,)
        Sd of each reading [nT]; NaN where its position isn't known.

    Raises
    ------
    InputError
        When lengths differ, the width isn't above zero or an error is below zero.

    Notes
    -----
    Readings within half the width share one background b, so that the mean of the k of them has
    to keep its sd: ``sd^2 = s^2 + k b^2``. For backgrounds whose correlation falls off within half
    to one width, the detector of `target_detection` then has the noise it reckons with to about
    30 %; wider backgrounds between lines trouble it up to half more (covariances in closed form,
    depths 4 to 12 m, lines 10 and 25 m apart).

    Examples
    --------
    Seven readings within 6 m of the middle one, its own noise of little weight:

    >>> noise_with_background(np.zeros(21), np.arange(21.0), sensor_sd_nT=np.full(21, 0.1),
    ...                       background_nT=1.0, width_m=6.0)[10].round(2)
    np.float64(2.65)
    """
    places = [np.asarray(axis, dtype=np.float64) for axis in (easting_m, northing_m)]
    sensor = np.asarray(sensor_sd_nT, dtype=np.float64)
    check_same_length(easting_m=places[0], northing_m=places[1], sensor_sd_nT=sensor)
    check_positive(width_m, name="width_m")
    if background_nT < 0 or np.any(sensor < 0):
        raise InputError("A noise can't be below zero.", value=background_nT)
    readings = np.column_stack(places)
    known = np.flatnonzero(np.isfinite(readings).all(axis=1))
    count = np.full(sensor.shape, np.nan)
    if known.size:
        tree = cKDTree(readings[known])
        count[known] = tree.query_ball_point(readings[known], width_m / 2, return_length=True)
    noise: FloatArray = np.sqrt(sensor**2 + background_nT**2 * count)
    return noise
