"""The bench as a page and as a local API. Import from ``app``, ``desk``, ``options``, ``server`` and ``access``."""
