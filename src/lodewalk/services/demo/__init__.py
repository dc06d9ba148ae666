"""The demo survey: an invented job whose raw files and whose truth are both known."""

from lodewalk.services.demo.scenario import Scenario
from lodewalk.services.demo.write import DemoFile, DemoFiles, write_demo

__all__ = ["DemoFile", "DemoFiles", "Scenario", "write_demo"]
