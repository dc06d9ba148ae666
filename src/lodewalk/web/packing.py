"""Columns of numbers as bytes: length of a header, the header in JSON, then array after array.

Arrays are little-endian and begin at multiples of eight bytes, so that a browser reads them in
place.
"""

import json
from typing import Any

import numpy as np
from numpy.typing import NDArray
from starlette.responses import Response

MEDIA_TYPE = "application/octet-stream"
#: What is said of the answer in the description of the API.
PACKED: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {MEDIA_TYPE: {"schema": {"type": "string", "format": "binary"}}},
        "description": "Four bytes with the length of the header, little-endian; the header in "
        "JSON, whose `columns` give name, type (f4, f8, i4, u1) and count; then the arrays, each "
        "at a multiple of eight bytes.",
    }
}
#: Numbers shrink by a third at most; within one machine that takes longer than to hand them over.
AS_IT_IS = {"content-encoding": "identity"}
_TYPES = {"f": {4: "f4", 8: "f8"}, "i": {4: "i4"}, "u": {1: "u1"}}


def packed(columns: Any) -> Response:
    """Return columns of a service as one answer of bytes."""
    arrays = [(name, np.ascontiguousarray(values)) for name, values in columns.values.items()]
    about = {
        **columns.about,
        "columns": [
            {"name": name, "type": _type(array), "count": array.size} for name, array in arrays
        ],
    }
    header = json.dumps(about, allow_nan=False).encode()
    body = bytearray(len(header).to_bytes(4, "little") + header)
    for _, array in arrays:
        body += bytes(-len(body) % 8)
        body += array.astype(array.dtype.newbyteorder("<"), copy=False).tobytes()
    return Response(bytes(body), media_type=MEDIA_TYPE, headers=AS_IT_IS)


def _type(array: NDArray[Any]) -> str:
    """Return the type of an array as the header names it."""
    return _TYPES[array.dtype.kind][array.dtype.itemsize]
