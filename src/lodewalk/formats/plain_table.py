"""Small tables of delimited text with a header that names the columns."""

import csv
import math

from lodewalk.errors import InputError

DELIMITERS = (";", "\t", ",")


def delimiter_of(line: str) -> str:
    """Return what parts the columns of the header."""
    return max(DELIMITERS, key=line.count)


def rows_of(text: str, file: str) -> list[tuple[int, list[str]]]:
    """Return the rows that hold something, each with its line; comments left out."""
    lines = text.split("\n")
    kept = [line for line in lines if line.strip() and not line.startswith("#")]
    if not kept:
        raise InputError("The file is empty.", file=file)
    delimiter = delimiter_of(kept[0])
    reader = csv.reader(lines, delimiter=delimiter, skipinitialspace=True, strict=True)
    found = []
    try:
        before = 0
        for fields in reader:
            line, before = before + 1, reader.line_num
            plain = [field.strip() for field in fields]
            if any(plain) and not plain[0].startswith("#"):
                found.append((line, plain))
    except csv.Error as error:
        raise InputError(
            f"The text must be a table ({error}).", file=file, line=reader.line_num
        ) from None
    return found


def number_of(text: str, name: str, *, file: str, line: int) -> float:
    """Return a number with a point or a comma as its decimal sign."""
    try:
        found = float(text.replace(",", "."))
    except ValueError:
        found = math.nan
    if not math.isfinite(found) or "_" in text:
        raise InputError(f"{name} must be a number.", file=file, line=line, value=text)
    return found
