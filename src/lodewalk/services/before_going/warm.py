"""Load what the first quick answer needs while a person still looks at the room."""

from functools import lru_cache
from threading import Thread


@lru_cache(maxsize=1)
def warm() -> Thread:
    """Begin, once a process, to load modules and kernels in the background; return at once."""
    loading = Thread(target=_load, name="warm", daemon=True)
    loading.start()
    return loading


def _load() -> None:
    """Load the steps before going, and the compiled kernel of the reference field."""
    import lodewalk.steps.feasibility
    import lodewalk.steps.plan  # noqa: F401
    from lodewalk.methods.geomagnetic import site_values

    site_values(0.0, 0.0, 0.0, decimal_year=2025.0)
