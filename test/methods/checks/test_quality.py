"""Low quality on scales that aren't known."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.quality import low_quality


@pytest.mark.parametrize("scale", [1.0, 99.0, 4096.0])
def test_outliers_are_found_on_any_scale(scale):
    rng = np.random.default_rng(1)
    quality = scale * rng.normal(0.93, 0.02, 1000)
    quality[100:116] = scale * rng.uniform(0.0, 0.4, 16)
    assert np.flatnonzero(low_quality(quality)).tolist() == list(range(100, 116))


def test_usual_scatter_and_a_steady_quality_are_no_outliers():
    rng = np.random.default_rng(2)
    assert not low_quality(rng.normal(80, 5, 30_000).clip(0)).any()
    assert not low_quality(np.where(rng.random(1000) < 0.02, 0.96, 0.97)).any()
    # Where half of the readings are poor, poor is usual.
    assert not low_quality(rng.uniform(0.0, 1.0, 1000)).any()


def test_worse_may_be_higher():
    quality = np.array([2.0, 2.1, 1.9, 2.0, 40.0])
    assert low_quality(quality, higher_is_better=False).tolist() == [0, 0, 0, 0, 1]
    assert not low_quality(quality).any()


def test_none_and_bad_settings():
    assert low_quality([]).tolist() == []
    assert low_quality([np.nan, np.nan]).tolist() == [False, False]
    assert low_quality([0.9, np.nan, 0.9, 0.1]).tolist() == [False, False, False, True]
    with pytest.raises(InputError, match="share"):
        low_quality([0.5], share=1)
    with pytest.raises(InputError, match="k_sd"):
        low_quality([0.5], k_sd=0)
    with pytest.raises(InputError, match="quality must lie"):
        low_quality([-1.0])
