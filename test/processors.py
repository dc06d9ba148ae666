"""Environments in which the libraries compute as on another x86 processor.

OpenBLAS, numpy and the compiler of the kernels each choose their code by the processor; these are
their documented switches. They change nothing where the processor is of another family.
"""

import os
from typing import NamedTuple


class Processor(NamedTuple):
    """What OpenBLAS and kernels take it for, what numpy has to leave unused, and what it needs."""

    blas: str
    kernels: str
    unused: str
    needs: str


PROCESSORS = {
    "no AVX": Processor("Nehalem", "x86-64", "X86_V3 X86_V4 AVX512_ICL AVX512_SPR", "SSE2"),
    "AVX2": Processor("Haswell", "haswell", "X86_V4 AVX512_ICL AVX512_SPR", "AVX2"),
    "AVX-512": Processor("SkylakeX", "skylake-avx512", "AVX512_ICL AVX512_SPR", "AVX512_SKX"),
}


def can_pass_for(name):
    """Return whether this machine can compute as that processor does."""
    from numpy._core._multiarray_umath import __cpu_features__

    return bool(__cpu_features__.get(PROCESSORS[name].needs))


def as_processor(name, kernels):
    """Return the environment of a program on that processor; its kernels are kept in a folder."""
    one = PROCESSORS[name]
    return os.environ | {
        "OPENBLAS_CORETYPE": one.blas,
        "NUMBA_CPU_NAME": one.kernels,
        "NUMBA_CPU_FEATURES": "",
        "NUMBA_CACHE_DIR": str(kernels),
        "NPY_DISABLE_CPU_FEATURES": one.unused,
        # numpy warns of those that this machine hasn't got anyway
        "PYTHONWARNINGS": "ignore::ImportWarning",
    }
