"""What can be wrong with what is to be scored."""

from __future__ import annotations


class ScoreProblem(Exception):  # noqa: N818  (it speaks of the keeper's files)
    """A folder cannot be scored. One argument, so that it travels between processes; it is never transient."""
