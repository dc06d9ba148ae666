"""Precession of the protons in a sensor: frequency, and the value to tune it to."""

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.units import NT_PER_HZ
from lodewalk.validation import FloatArray


def precession_frequency_hz(total_field_nT: ArrayLike) -> FloatArray:
    """Return the precession frequency of protons in a field.

    Parameters
    ----------
    total_field_nT : array
        Total intensity [nT].

    Returns
    -------
    array
        Frequency [Hz].

    Notes
    -----
    The field over 23.4871981 nT/Hz, from the shielded proton gyromagnetic ratio of CODATA 2022
    [1]_: protons in a sphere of pure water at 25 degrees Celsius. A sensor that works on electrons
    has another constant.

    References
    ----------
    .. [1] NIST, CODATA recommended values of the fundamental physical constants 2022: shielded
       proton gyromagnetic ratio in MHz/T, 42.57638543(17).

    Examples
    --------
    >>> f"{precession_frequency_hz(50000.0):.4f}"
    '2128.8193'
    """
    return np.asarray(np.asarray(total_field_nT, dtype=np.float64) / NT_PER_HZ)


def tuning_microtesla(total_field_nT: ArrayLike) -> FloatArray:
    """Return the value to tune a proton sensor to: the field in whole microtesla.

    Parameters
    ----------
    total_field_nT : array
        Total intensity expected at the site [nT].

    Returns
    -------
    array
        Tuning value [uT]; halves are rounded up. NaN where the field is missing.

    Notes
    -----
    Common practice: the circuit of a proton sensor is set to the whole microtesla nearest to the
    expected field.

    Examples
    --------
    >>> float(tuning_microtesla(48_499.0)), float(tuning_microtesla(48_500.0))
    (48.0, 49.0)
    """
    return np.floor(np.asarray(total_field_nT, dtype=np.float64) / 1000.0 + 0.5)
