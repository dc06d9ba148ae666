"""Files: what was understood, the column map, and adding them."""

from fastapi import APIRouter

router = APIRouter(tags=["files"])
