"""Stages: parts wired into a power stage; a stage knows no topology."""
