"""Predictions as a run makes them: BLAS keeps to one thread, or many small matrices cost more."""

import pytest
from threadpoolctl import threadpool_limits


@pytest.fixture(autouse=True, scope="session")
def one_blas_thread():
    with threadpool_limits(limits=1, user_api="blas"):
        yield
