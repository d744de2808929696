"""Closed forms of the physics; they know neither parts nor topologies."""
