"""Everything besides the design that an evaluation needs."""

from __future__ import annotations

import dataclasses

from models.parts.catalogue import Catalogue
from models.points import OperatingPoints
from models.spec import Specification


@dataclasses.dataclass(frozen=True)
class Case:
    """A specification made ready for evaluation; the same for every design of a sweep."""

    spec: Specification
    points: OperatingPoints
    catalogue: Catalogue
