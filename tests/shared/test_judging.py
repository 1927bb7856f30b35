"""Limits of the load that lamp and PC share, and of the causes that excuse lambda: common practice, no source."""

from shared_math import judging


def test_the_pressure_of_full_load():
    """85 % of the air's pressure alone, 92 % beside a throttle; 60 kPa at least; the air counts up to 100 kPa."""
    assert [judging.full_kpa(ambient, False) for ambient in (100, 80, 104, 65)] == [85, 68, 85, 60]
    assert [judging.full_kpa(ambient, True) for ambient in (100, 80, 104, 60)] == [92, 73, 92, 60]
    assert judging.full_kpa(995, True, 10) == 915  # tenths, rounded down


def test_the_pressure_of_full_load_without_vacuum():
    assert [judging.boosted_kpa(ambient) for ambient in (100, 80, 104)] == [150, 120, 150]
    assert judging.boosted_kpa(995, 10) == 1492  # whole numbers: the lamp counts in an interrupt


def test_when_an_engine_idles_and_rests():
    assert (judging.RUNNING_RPM, judging.IDLE_RPM, judging.REST_MOST_PCT) == (500, 1300, 25)
    assert (judging.NO_VACUUM_MS, judging.STOOD_MS, judging.STOOD_KPA) == (2000, 300, 1)


def test_the_warning_as_the_pages_tell_it():
    assert (judging.MARGIN, judging.AFTER_S) == (0.05, 0.3)
