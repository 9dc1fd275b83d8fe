"""Published numbers that no procedure holds, each with its source: bend radii, thermal growth, what fusing takes."""

from asbuilt.handbook.published import BendLimits, bend_limits, bend_radii, thermal

__all__ = ["BendLimits", "bend_limits", "bend_radii", "thermal"]
