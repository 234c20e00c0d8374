"""Creep of plastic: a data sheet, a printed table of powers of ten, and what a power law must do."""

import math
from itertools import pairwise

import pytest

from colsim.errors import RangeError
from colsim.model import stand_ins
from colsim.theory.creep import REFERENCE_TIME, creep_modulus


def test_creep_modulus_of_a_data_sheet():
    # Filled polyester, a materials database: tensile creep modulus 9350 MPa at 1 h, 7690 MPa at 1000 h. Its tensile
    # modulus, of a quick test, is 10.2 GPa: from a minute on, one power through both hours gives 10.5, so within 3 %.
    exponent = math.log(9350 / 7690) / math.log(1000)
    assert exponent == pytest.approx(0.0283, abs=5e-5)
    quick = 9350 * 60**exponent
    assert creep_modulus(quick, 60, exponent) == pytest.approx(9350)
    assert creep_modulus(quick, 60_000, exponent) == pytest.approx(7690)
    assert quick == pytest.approx(10_200, rel=0.03)
    assert stand_ins.CREEP_EXPONENT.low < exponent < stand_ins.CREEP_EXPONENT.high
    assert stand_ins.CREEP_EXPONENT.typical >= exponent  # fillers hold creep back


@pytest.mark.parametrize(
    ("decades", "exponent", "share"),
    # Ratios of power for 1, 3 and 10 dB as any table of decibels prints them: 0.794, 0.501, 0.100 of what it was.
    [(1, 0.1, 0.794), (3, 0.1, 0.501), (1, 0.3, 0.501), (10, 0.1, 0.100), (5, 0.0, 1.0)],
)
def test_each_tenfold_of_time_divides_by_the_same(decades, exponent, share):
    assert creep_modulus(3000.0, REFERENCE_TIME * 10**decades, exponent) / 3000 == pytest.approx(share, abs=5e-4)


def test_month_after_month_by_logarithms():
    # By hand: 30 days are 43 200 min, whose natural logarithm is 10.6736; times 0.01 and 0.1, then exp of minus that.
    for exponent, share in ((0.01, 0.8988), (0.1, 0.3439)):
        assert creep_modulus(1.0, 30 * 24 * 60, exponent) == pytest.approx(share, abs=5e-5)


def test_a_wait_in_two_parts_is_the_wait_as_a_whole():
    for first, then in ((7.0, 30.0), (100.0, 5.0), (1440.0, 365.0)):
        halfway = creep_modulus(3000.0, REFERENCE_TIME * first, 0.04)
        assert creep_modulus(halfway, REFERENCE_TIME * then, 0.04) == pytest.approx(
            creep_modulus(3000.0, first * then, 0.04)
        )


def test_nothing_is_stiffer_than_in_a_quick_test_and_time_only_softens():
    times = [0.0, 1e-9, 0.5, REFERENCE_TIME]
    assert {creep_modulus(3137.0, time, 0.07) for time in times} == {3137.0}
    later = [creep_modulus(3137.0, REFERENCE_TIME * 1.5**k, 0.07) for k in range(30)]
    assert all(after < before for before, after in pairwise(later))
    assert len({creep_modulus(3137.0, time, 0.0) for time in (0, 1, 1e5)}) == 1


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((0.0, 60, 0.03), "modulus must be a positive number: got 0.0"),
        ((math.nan, 60, 0.03), "modulus must be a positive number: got nan"),
        ((3000.0, -1, 0.03), "time must be zero or more: got -1"),
        ((3000.0, math.inf, 0.03), "time must be zero or more: got inf"),
        ((3000.0, 60, -0.01), "exponent must be at least 0 and below 1: got -0.01. Plastics have 0.01 to 0.1"),
        ((3000.0, 60, 1.0), "exponent must be at least 0 and below 1: got 1.0"),
        ((3000.0, 60, math.nan), "exponent must be at least 0 and below 1: got nan"),
    ],
)
def test_what_is_no_creep_is_refused(arguments, message):
    with pytest.raises(RangeError) as caught:
        creep_modulus(*arguments)
    assert message in str(caught.value)
