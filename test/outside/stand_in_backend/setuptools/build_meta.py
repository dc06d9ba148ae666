"""Hand over the metadata that a source archive already carries, without running its build.

pip calls these hooks (PEP 517) in the unpacked archive, in a process of its own.
"""

import shutil
from email.parser import HeaderParser
from pathlib import Path


def get_requires_for_build_wheel(config_settings: object = None) -> list[str]:
    return []


def prepare_metadata_for_build_wheel(
    metadata_directory: str, config_settings: object = None
) -> str:
    carried = Path("PKG-INFO")
    fields = HeaderParser().parsestr(carried.read_text(encoding="utf-8"))
    folder = Path(metadata_directory, f"{fields['Name']}-{fields['Version']}.dist-info")
    folder.mkdir()
    shutil.copy(carried, folder / "METADATA")
    return folder.name


class _Legacy:
    """The same hooks under the name that pip uses for an archive without `pyproject.toml`."""

    get_requires_for_build_wheel = staticmethod(get_requires_for_build_wheel)
    prepare_metadata_for_build_wheel = staticmethod(prepare_metadata_for_build_wheel)


__legacy__ = _Legacy()
