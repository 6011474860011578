"""swimup: a monitor for vessels in which brine shrimp hatch."""
