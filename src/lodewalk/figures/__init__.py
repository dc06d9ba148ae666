"""Figures: records in, matplotlib figures out."""

from lodewalk.figures.anomaly_map import draw_anomaly_map
from lodewalk.figures.day import draw_day
from lodewalk.figures.error_map import draw_error_map
from lodewalk.figures.error_parts import draw_error_parts
from lodewalk.figures.expected_anomaly import draw_expected_anomaly
from lodewalk.figures.field_sheet import draw_day_map, draw_field_sheet
from lodewalk.figures.line_profile import draw_line_profile, draw_line_profiles
from lodewalk.figures.plan_map import draw_plan_map
from lodewalk.figures.save import pdf_bytes, png_bytes, write_pdf
from lodewalk.figures.sheet import draw_sheet
from lodewalk.figures.stacked_profiles import draw_stacked_profiles
from lodewalk.figures.target_map import draw_target_map
from lodewalk.figures.transform_map import draw_transform_map

__all__ = [
    "draw_anomaly_map",
    "draw_day",
    "draw_day_map",
    "draw_error_map",
    "draw_error_parts",
    "draw_expected_anomaly",
    "draw_field_sheet",
    "draw_line_profile",
    "draw_line_profiles",
    "draw_plan_map",
    "draw_sheet",
    "draw_stacked_profiles",
    "draw_target_map",
    "draw_transform_map",
    "pdf_bytes",
    "png_bytes",
    "write_pdf",
]
