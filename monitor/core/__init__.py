"""The pure heart: no input or output, no clock, no threads. Nothing here imports an adapter."""
