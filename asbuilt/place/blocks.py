"""A long chain cut into blocks that overlap, so that a pass along the chain is a pass over all blocks at once.

What lies farther away than the overlap has little to add on how many sticks a joint stands from its neighbours, or on
which leg; where a chain begins anew, nothing before it has. What a whole run adds to the place itself comes from the
adjustment, which knows no blocks.
"""

from dataclasses import dataclass

import numpy as np

CORE, OVERLAP = 64, 32  # entries of a block that count, and those on either side that only lead in


@dataclass(frozen=True)
class Blocks:
    """`entry` of shape (steps, blocks) is the entry of each step, `outside` whether the chain has none there."""

    entry: np.ndarray
    outside: np.ndarray

    @property
    def core(self) -> range:
        """The steps that count."""
        return range(OVERLAP, len(self.entry) - OVERLAP)

    def along(self, found: np.ndarray) -> np.ndarray:
        """Return what was found for the steps that count, (steps, blocks, ...), as the chain has it, (entries, ...)."""
        flat = found.swapaxes(0, 1).reshape(-1, *found.shape[2:])
        return flat[: np.count_nonzero(~self.outside[self.core])]

    def parts(self, most: int) -> list["Blocks"]:
        """Return so many blocks at the most, and as many in each part, as blocks of their own."""
        count = -(-self.entry.shape[1] // most)
        cut = (np.array_split(of, count, axis=1) for of in (self.entry, self.outside))
        return [Blocks(entry, outside) for entry, outside in zip(*cut, strict=True)]


def blocks(entries: int) -> Blocks:
    """Cut a chain of so many entries, one at least."""
    start = np.arange(-(-entries // CORE)) * CORE - OVERLAP
    entry = np.arange(CORE + 2 * OVERLAP)[:, None] + start
    outside = (entry < 0) | (entry >= entries)
    return Blocks(np.clip(entry, 0, entries - 1), outside)
