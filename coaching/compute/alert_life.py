"""When an alert opens and how long it stands, for many series of nights at once."""

from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray

Bools = NDArray[np.bool_]

PATIENCE_NIGHTS = 21


@dataclass(frozen=True, slots=True, eq=False)
class AlertLives:
    """Nights on which an alert opened, and nights on which it stood; both (n_series, n_nights)."""

    opens: Bools
    stands: Bools


def follow_alerts(
    is_found: Bools, *, patience_nights: int = PATIENCE_NIGHTS, is_held_back: Bools | None = None
) -> AlertLives:
    """Follow each series night by night: an alert opens on evidence, and ends when it has been gone for long.

    Args:
        is_found: (n_series, n_nights) the night found the evidence.
        patience_nights: an alert ends on the night that lies so many nights after its last evidence.
        is_held_back: (n_series, n_nights) nights on which no alert may open, such as those on which a graver
            one stands; one that stands already goes on. None = never.

    Returns:
        AlertLives. An alert that has ended opens as new at the next evidence.

    Raises:
        ValueError: shapes differ, or patience below 1.

    Source:
        Design choice.

    >>> found = np.array([[False, True, False, False, True]])
    >>> follow_alerts(found, patience_nights=2).opens.tolist()
    [[False, True, False, False, True]]
    >>> follow_alerts(found, patience_nights=4).opens.tolist()
    [[False, True, False, False, False]]
    """
    held = np.zeros(is_found.shape, bool) if is_held_back is None else is_held_back
    if held.shape != is_found.shape:
        raise ValueError(f"is_held_back must have the shape of is_found {is_found.shape}, got {held.shape}")
    if patience_nights < 1:
        raise ValueError(f"patience_nights must be 1 or more, got {patience_nights}")
    opens, stands = np.zeros(is_found.shape, bool), np.zeros(is_found.shape, bool)
    is_standing = np.zeros(is_found.shape[0], bool)
    seen_night = np.zeros(is_found.shape[0], np.int64)
    for night in range(is_found.shape[1]):
        found = is_found[:, night]
        is_standing &= found | (night - seen_night < patience_nights)
        opens[:, night] = found & ~is_standing & ~held[:, night]
        is_standing |= opens[:, night]
        seen_night[found & is_standing] = night
        stands[:, night] = is_standing
    return AlertLives(opens, stands)
