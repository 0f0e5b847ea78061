"""How often counts as lopsided as these come by chance alone."""

from __future__ import annotations

import math


def chance_of_as_many(changed_bad: int, changed: int, others_bad: int, others: int) -> float:
    """Chance that so many of the bad ones, or more, are among the changed, if the change made no difference.

    P = sum over k >= changed_bad of C(bad, k) C(all - bad, changed - k) / C(all, changed)

    Parameters
    ----------
    changed_bad, changed : int
        Those in trouble among the changed, and all of these.
    others_bad, others : int
        The same of the others.

    Returns
    -------
    float
        0 to 1; exact but for the last rounding, because the counts are whole numbers.

    Raises
    ------
    ValueError
        If a count is negative, or more are bad than there are.

    Source
    ------
    Fisher's exact test, one-sided: Fisher, The Design of Experiments, 1935, chapter 2.
    """
    if not (0 <= changed_bad <= changed and 0 <= others_bad <= others):
        raise ValueError("counts are not negative, and no more are bad than there are")
    bad, all_of_them = changed_bad + others_bad, changed + others
    ways = sum(
        math.comb(bad, k) * math.comb(all_of_them - bad, changed - k)
        for k in range(changed_bad, min(bad, changed) + 1)
    )
    return ways / math.comb(all_of_them, changed)
