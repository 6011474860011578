"""Readings in: what a message on the broker becomes, and the session that fetches it.

Decoders are pure; the session is the only part that touches a socket.
"""
