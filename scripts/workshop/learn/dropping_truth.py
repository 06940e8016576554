"""Which dropping a spot lies on."""

import numpy as np
from numpy.typing import NDArray

from vision.droppings.spots import Spotted

__all__ = ["whose"]


def whose(
    things: Spotted, truth: NDArray[np.uint16], no_matter: NDArray[np.uint8]
) -> NDArray[np.intp]:
    """Return the number of the dropping on which each spot lies.

    Parameters
    ----------
    things : Spotted
        The surest spot first.
    truth : ndarray of uint16, shape (rows, columns)
        The number of the dropping at each pixel of the photo.
    no_matter : ndarray of uint8, shape (rows, columns)
        1 on droppings that need not be seen.

    Returns
    -------
    ndarray of intp, shape (spots,)
        0 where there is none or a surer spot lies on the same one; -1 where it is no matter.
    """
    numbers = things.values_of(truth).astype(np.intp)
    faint = np.isin(numbers, np.unique(truth[(no_matter > 0) & (truth > 0)]))
    again = np.ones(len(numbers), np.bool_)
    again[np.unique(numbers, return_index=True)[1]] = False
    return np.where(faint, -1, np.where(again, 0, numbers))
