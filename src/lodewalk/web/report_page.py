"""The report as the pages show it: alone in its frame, without script, its own styles only.

The report is one file with its styles inside, which the pages' own policy forbids. Its policy
names exactly the styles that it holds, by their SHA-256; whatever else is in the file stays dead.
"""

import base64
import hashlib
import html
import re
from pathlib import Path

from starlette.responses import Response

_BLOCK = re.compile(rb"<style[^>]*>(.*?)</style>", re.DOTALL | re.IGNORECASE)
#: Also finds such words in text, which does no harm: a sum that no style has.
_ATTRIBUTE = re.compile(rb"\sstyle=\"([^\"]*)\"", re.IGNORECASE)


def report_page(path: Path) -> Response:
    """Return the report with a policy of its own."""
    content = path.read_bytes()
    # Pictures don't get smaller by squeezing them again, and the way is short.
    headers = {"content-security-policy": policy(content), "content-encoding": "identity"}
    return Response(content, media_type="text/html; charset=utf-8", headers=headers)


def policy(content: bytes) -> str:
    """Return the policy of a page: no script, no request, the styles that it holds by their sums.

    Examples
    --------
    >>> policy(b"<style>p{}</style>").split("; ")[1]
    "style-src 'unsafe-hashes' 'sha256-gG2yISYereRMiG2lMXrbiUgi0Ubw9p7QCeWcroOvy9Y='"
    """
    blocks = _BLOCK.findall(content)
    attributes = [
        html.unescape(value.decode("utf-8", "replace")).encode()
        for value in set(_ATTRIBUTE.findall(content))
    ]
    sums = sorted({_sum(text) for text in (*blocks, *attributes)})
    styles = " ".join(["'unsafe-hashes'", *sums]) if sums else "'none'"
    return (
        f"default-src 'none'; style-src {styles}; img-src data:; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'self'; sandbox allow-same-origin allow-modals"
    )


def _sum(text: bytes) -> str:
    """Return a style's SHA-256 as a policy writes it."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text).digest()).decode()}'"
