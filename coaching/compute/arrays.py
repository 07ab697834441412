"""The types of arrays, without loading `numpy.typing`, which takes a tenth of the time that numpy does."""

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike as ArrayLike
    from numpy.typing import NDArray as NDArray
else:
    ArrayLike = Any

    class NDArray:
        """At run time an annotation and nothing more."""

        def __class_getitem__(cls, scalar: type[np.generic]) -> Any:
            return np.ndarray[Any, np.dtype[scalar]]
