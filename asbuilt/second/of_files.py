"""Checks of the files as files: are they those that were handed over, all of them and no other?"""

from collections.abc import Iterable

from asbuilt.errors import AsBuiltError
from asbuilt.publish import checksums, geopackage, joint_log, readme, webmap
from asbuilt.publish.export_layers import FOLDER
from asbuilt.second.check import Seen
from asbuilt.second.files import plain_file
from asbuilt.second.handed_over import HandedOver
from asbuilt.second.papers import files_named
from asbuilt.sentence import several

_ALWAYS = {webmap.NAME, geopackage.NAME, joint_log.CSV_NAME, joint_log.WORKBOOK_NAME, readme.NAME, checksums.NAME}


def sums_hold(out: HandedOver) -> Seen:
    """Look whether every line of SHA256SUMS is as `sha256sum -c` reads it, and every file has its checksum."""
    faults = list(out.sums.faults)
    for name, digest in out.sums.by_name.items():
        try:
            if checksums.digest(plain_file(out.folder, name)) != digest:
                faults.append(f"{name} is not the file that was handed over: it has another checksum")
        except AsBuiltError as error:
            faults += [str(problem) for problem in error.problems]
    return Seen(f"{several(len(out.sums.by_name), 'file')} in {checksums.NAME}", tuple(faults))


def files_are_listed(out: HandedOver) -> Seen:
    """Look whether every file is listed, every listed one is there, and README.txt names the same ones."""
    beside = {checksums.NAME, checksums.SIGNATURE}
    there, listed = out.names - {checksums.SIGNATURE}, set(out.sums.by_name) | {checksums.NAME}
    named = files_named(out.text) | {readme.NAME}
    faults = _faults(out.names - beside - listed, f"is not listed in {checksums.NAME}")
    faults += _faults(listed - out.names, f"is listed in {checksums.NAME}, and is not there")
    faults += _faults(_ALWAYS - there, "is not there, and belongs to every hand-over")
    told = {
        name for name in there if not name.startswith(f"{FOLDER}/") or name in named
    }  # theirs has a text of its own
    faults += _faults(told - named, f"is not named in {readme.NAME}")
    faults += _faults(named - there, f"is named in {readme.NAME}, and is not there")
    return Seen(f"{several(len(there), 'file')} in the folder", tuple(faults))


def _faults(names: Iterable[str], what: str) -> list[str]:
    return [f"{name!r} {what}" for name in sorted(names)]
