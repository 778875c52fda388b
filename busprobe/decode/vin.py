"""Vehicle identification numbers and their check digit (49 CFR 565.15).

    1 M 8 G D M 9 A X K P 0 4 2 7 8 8      character 9 is the check digit
    8 7 6 5 4 3 2 10 0 9 8 7 6 5 4 3 2     weight of each place (Table IV)

Each character has a value (Table III), the sum of value x weight modulo 11 is the check
digit, 10 written as X. North American vehicles must carry it; elsewhere place 9 is often
free (common practice, no source), so a wrong digit alone does not condemn a VIN.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

from busprobe.errors import counted

LENGTH = 17
CHECK_PLACE = 8
"""Place of the check digit, counted from 0."""
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
VALUES = MappingProxyType(
    {str(digit): digit for digit in range(10)}
    | dict(zip("ABCDEFGH", range(1, 9), strict=True))
    | dict(zip("JKLMN", range(1, 6), strict=True))
    | {"P": 7, "R": 9}
    | dict(zip("STUVWXYZ", range(2, 10), strict=True))
)
"""Value of each character; I, O and Q have none, because they are never used."""


@dataclass(frozen=True)
class VinCheck:
    """What the check digit of a VIN says."""

    valid: bool
    note: str
    """For the user: what is right or wrong."""
    weighted_sum: int | None = None
    """None where the text is no VIN: wrong length or a character that is not allowed."""
    computed: str = ""
    """Check digit that the other characters call for."""


def check_vin(vin: str) -> VinCheck:
    """Whether `vin` has the right length, only allowed characters and the right check digit."""
    if len(vin) != LENGTH:
        return VinCheck(False, f"{counted(len(vin), 'character')} instead of {LENGTH}")
    for character in vin:
        if character not in VALUES:
            return VinCheck(False, f'"{character}" is not allowed in a VIN')
    weighted_sum = sum(VALUES[c] * weight for c, weight in zip(vin, WEIGHTS, strict=True))
    computed = "0123456789X"[weighted_sum % 11]
    given = vin[CHECK_PLACE]
    if given == computed:
        return VinCheck(True, "check digit is right", weighted_sum, computed)
    note = f'check digit is "{given}", computed "{computed}"; outside North America it need not hold'
    return VinCheck(False, note, weighted_sum, computed)
