"""Handing over: the report, the layers, the package and its verification."""

from fastapi import APIRouter

router = APIRouter(tags=["handover"])
