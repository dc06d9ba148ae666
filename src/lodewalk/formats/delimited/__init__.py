"""Delimited text: columns of any instrument or spreadsheet, read by a column map."""

from lodewalk.formats.delimited.column_map import ColumnMap
from lodewalk.formats.delimited.detect import Proposal, propose, recognise
from lodewalk.formats.delimited.read import read, read_and_hash
from lodewalk.formats.delimited.write import write

__all__ = ["ColumnMap", "Proposal", "propose", "read", "read_and_hash", "recognise", "write"]
