"""[photos]: where the photos lie that records name."""

from typing import Literal

from asbuilt.settings.parts import InsidePath, Part


class PhotoSource(Part):
    """[photos]: a folder within the route folder. A name that is not found there, or without a folder any name, is
    looked for as a path from the route folder, and then from the folder of the file that records it."""

    folder: InsidePath | Literal[""] = ""
