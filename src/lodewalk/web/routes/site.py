"""The site's matters: reference field, tuning and whether a contrast will show."""

from fastapi import APIRouter

router = APIRouter(tags=["site"])
