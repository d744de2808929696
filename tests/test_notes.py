"""Notes on protections carry numbers that can be checked."""

import math
import re

import pytest

from models.topologies.notes import discharge_note


def test_the_bleeder_reaches_sixty_volts_in_the_time_said():
    note = discharge_note("link", 40e-6, 230.0)
    mega = float(re.search(r"at most ([\d.]+) MΩ", note).group(1))
    left = 230.0 * math.exp(-300.0 / (mega * 1e6 * 40e-6))
    assert left == pytest.approx(60.0, rel=0.01)


def test_a_low_voltage_needs_no_bleeder():
    assert "below 60 V" in discharge_note("module", 2e-3, 48.0)
