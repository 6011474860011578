"""The configuration: a TOML file read, checked in full, and handed to the other parts as frozen objects.

>>> from monitor.settings import ConfigError, load
>>> settings = load("swimup.toml")  # doctest: +SKIP
"""

from monitor.settings.errors import ConfigError, Problem
from monitor.settings.loader import Loaded, from_document, load, load_all
from monitor.settings.settings import Settings

__all__ = ["ConfigError", "Loaded", "Problem", "Settings", "from_document", "load", "load_all"]
