"""Build step: the firmware rides along in the wheel as data, so that an installed command can put it on a board."""

from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class FirmwareAsData(BuildHookInterface):
    """Adds the whole `firmware/` tree as `secondtank/firmware/`; an editable install reads the tree itself."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        if version == "standard":
            build_data["force_include"]["firmware"] = "secondtank/firmware"
