"""The plan's matters: area, lines, effort, odds and what to take along."""

from fastapi import APIRouter

router = APIRouter(tags=["plan"])
