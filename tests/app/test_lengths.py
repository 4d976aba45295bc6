"""Lengths as people write them."""

import pytest

from trainer.errors import SettingsError
from trainer.lengths import feet_words, length_cm

# 1 inch is 2.54 cm and 1 foot 12 inches (international yard and pound agreement, 1959).
WRITTEN = [
    ("178", 178.0),
    ("178 cm", 178.0),
    (" 178,5 ", 178.5),
    ("1.78 m", 178.0),
    ("1,78m", 178.0),
    ("5 ft 10", 177.8),
    ("5ft10in", 177.8),
    ("5'10\"", 177.8),
    ("5’10”", 177.8),
    ("5 feet 10.5 inches", 179.1),
    ("6'", 182.9),
    ("6 FT", 182.9),
    ("70 in", 177.8),
    ('70"', 177.8),
]


@pytest.mark.parametrize(("written", "cm"), WRITTEN)
def test_a_stature_is_understood(written, cm):
    assert length_cm("stature_cm", written, "Your height") == pytest.approx(cm, abs=0.05)


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        ("17", "a figure seems to be missing; give it as 175"),
        ("1800", "that looks like millimetres; divide by 10"),
        ("1.78", "that looks like metres"),
        ("70", "that looks like inches"),
        ("5 ft 13", "A length such as 178 or 5 ft 10 was wanted"),
        ("tall", "A length such as 178 or 5 ft 10 was wanted"),
        ("-178", "A length such as"),
        ("5'10'11", "A length such as"),
        ("9 ft", "A value from 100 to 230 was wanted"),
        ("99999999999999999999999", "A value from 100 to 230 was wanted"),
    ],
)
def test_a_stature_that_cannot_be_says_what_it_looks_like(written, hint):
    with pytest.raises(SettingsError, match="Your height is") as caught:
        length_cm("stature_cm", written, "Your height")
    assert hint in str(caught.value)


def test_a_driver_is_understood_in_inches_and_bare_inches_are_named():
    assert length_cm("driver_cm", "45 in", "The driver's length") == pytest.approx(114.3)
    with pytest.raises(SettingsError, match="that looks like inches"):
        length_cm("driver_cm", "45", "The driver's length")
    # The longest allowed, 48 inches (R&A and USGA, Equipment Rules 2.1c), is taken.
    assert length_cm("driver_cm", "48 in", "The driver's length") == pytest.approx(121.9)


def test_a_stature_is_told_in_feet_and_inches():
    assert feet_words(177.8) == "5 ft 10 in"
    assert feet_words(182.6) == "6 ft 0 in"  # never 5 ft 12
