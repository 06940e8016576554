"""Signs that a grower sees and a photo does not show, by the word under which they are logged."""

from collections.abc import Mapping

__all__ = ["SIGNS"]

SIGNS: Mapping[str, str] = {
    "wilting": "the plant wilts: it is isolated",
    "cleared": "an extension service or clinic says it is not late blight, or it stands again",
    "gone": "the plant was taken out: it is left out from then on",
    "planted": "a new plant stands there under the same name: what was before is not its own",
    "burned": "leaves bleached or tan where a spray dried: nothing more is sprayed on it",
    "no-burn": "looked for burn by eye, 24 hours or more after the spray, and saw none",
    "droppings": "droppings of caterpillars",
    "cocoons": "caterpillars with white cocoons on their backs, with their number",
    "no-caterpillars": "looked at night with the UV torch, and found none",
    "aphids": "aphids",
    "lying": "parts of the plant touch the ground",
    "low-lesions": "lesions began on the lowest leaves",
}
"""Each sign with what it means."""
