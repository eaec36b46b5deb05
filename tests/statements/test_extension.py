"""ICH Q1E (2003) 2.4: how far beyond real time a claim may reach.

The extensions of 12, 6, 3 and 0 months: slides of a member of the working group and a summary table; 12 → 24
is printed in a question-and-answer paper of a regulator. The factor 1.5 is from memory. Values recomputed.
"""

from __future__ import annotations

import pytest

from stability.errors import InputError
from stability.statements.extension import ExtensionCase, longest_claim_months

# months of real time: cases a to f
TABLE = {
    3: (6, 6, 4.5, 4.5, 6, 3),
    6: (12, 12, 9, 9, 9, 6),
    9: (18, 18, 13.5, 13.5, 12, 9),
    12: (24, 24, 18, 18, 15, 12),
    18: (30, 30, 24, 24, 21, 18),
    24: (36, 36, 30, 30, 27, 24),
}


@pytest.mark.parametrize("real_time", TABLE)
@pytest.mark.parametrize(("place", "case"), list(enumerate(ExtensionCase)))
def test_extension_table(real_time, place, case):
    assert longest_claim_months(real_time, case) == pytest.approx(TABLE[real_time][place])


@pytest.mark.parametrize("wrong", [-1, float("nan"), float("inf")])
def test_impossible_real_times_are_refused(wrong):
    with pytest.raises(InputError, match="months"):
        longest_claim_months(wrong, ExtensionCase.STATISTICS)
