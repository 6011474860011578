"""A board's own sensors on the broker: ``swimup probe``.

Light on purpose: it needs paho, pydantic, click and structlog, nothing of the daemon's core, store or pages.
"""
