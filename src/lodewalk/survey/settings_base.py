"""What every section of settings is made of."""

from typing import Any

from pydantic import BaseModel, ConfigDict, Field


def setting(default: Any, text: str, unit: str = "", **limits: Any) -> Any:
    """Return a field with its help and unit."""
    return Field(default, description=text, json_schema_extra={"unit": unit}, **limits)


class Section(BaseModel):
    """Base of the sections: unknown names are refused, values are frozen."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)
