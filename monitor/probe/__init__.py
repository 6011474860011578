"""A board's own sensors on the broker: ``swimup probe``.

Light on purpose: it needs paho, pydantic and click, nothing of the daemon's core, store or pages.
"""
