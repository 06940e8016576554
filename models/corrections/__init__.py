"""What people put right of a photo, and the reading that holds with it.

The measurement is never changed: what holds is worked out from it and from the fixes in force each
time it is asked for, in `corrected_reading` and nowhere else.
"""

from models.corrections.arithmetic import usual_size_px
from models.corrections.places import Place, aimed_at, lying_at
from models.corrections.reading import (
    SET_ASIDE,
    CorrectedReading,
    SeenLeaf,
    SeenLesion,
    SeenThing,
    State,
    corrected_reading,
    leaf_place,
    lesion_place,
    thing_place,
)
from models.corrections.records import (
    ADDED,
    FIXED,
    OF_READING,
    PATTERNS,
    REJECTED,
    Fix,
    Fixed,
    Mark,
    Redrawn,
    Target,
    pattern_of,
)

__all__ = [
    "ADDED",
    "FIXED",
    "OF_READING",
    "PATTERNS",
    "REJECTED",
    "SET_ASIDE",
    "CorrectedReading",
    "Fix",
    "Fixed",
    "Mark",
    "Place",
    "Redrawn",
    "SeenLeaf",
    "SeenLesion",
    "SeenThing",
    "State",
    "Target",
    "aimed_at",
    "corrected_reading",
    "leaf_place",
    "lesion_place",
    "lying_at",
    "pattern_of",
    "thing_place",
    "usual_size_px",
]
