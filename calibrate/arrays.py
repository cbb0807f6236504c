"""Names for the array types that cross module boundaries."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int64]
FlagArray: TypeAlias = NDArray[np.uint32]
