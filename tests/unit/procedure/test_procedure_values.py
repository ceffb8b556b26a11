"""The values of a procedure: bands and readings as they are asked."""

from fitup.model import Band, ExpectedReading


def test_a_band_holds_its_own_ends():
    band = Band("STOP", 0.010, 0.012)
    assert band.holds(0.010)
    assert band.holds(0.012)
    assert not band.holds(0.0125)


def test_an_open_end_asks_nothing():
    assert Band("STOP", high=4e7).holds(-1.0)


def test_a_reading_gives_its_band_by_meaning():
    stop = Band("STOP", high=4e7)
    reading = ExpectedReading("gauge", "J1", 3e7, 1e6, (stop,))
    assert reading.band("STOP") is stop
    assert reading.band("HOLD") is None
