"""What to start when: reckoned in a process of its own, the only one that loads scipy."""
