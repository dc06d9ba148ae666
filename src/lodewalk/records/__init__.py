"""Frozen, validated data: tables around one polars frame, grids, documents."""

from lodewalk.records.document import Document
from lodewalk.records.grid import Grid, GridSet
from lodewalk.records.table import Column, Table

Record = Table | GridSet | Document

__all__ = ["Column", "Document", "Grid", "GridSet", "Record", "Table"]
