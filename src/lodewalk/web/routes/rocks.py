"""From map to rocks: picks, bodies, profiles, lineaments and depths."""

from fastapi import APIRouter

router = APIRouter(tags=["rocks"])
