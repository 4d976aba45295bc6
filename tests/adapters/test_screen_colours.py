"""Contrast, colours and letters of the screen, and the caution's words."""

import ast
from pathlib import Path

import pygame
import pytest
from screen_views import drawn, make_view

from trainer import caution
from trainer.adapters import palette


def luminance(colour):
    # WCAG 2.x, "relative luminance"
    linear = [
        c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4
        for c in (v / 255 for v in colour)
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    # WCAG 2.x, "contrast ratio"
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_our_contrast_formula_gives_the_well_known_grey():
    # #767676 is widely quoted as the lightest grey with 4.5:1 on white: 4.54
    assert contrast((0x76, 0x76, 0x76), (255, 255, 255)) == pytest.approx(4.54, abs=0.005)
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)


@pytest.mark.parametrize("behind", [(0, 0, 0), (255, 255, 255)], ids=["black", "white"])
def test_text_and_graphics_keep_their_contrast_over_any_picture(behind):
    # WCAG 2.x success criteria 1.4.3 (4.5:1 for text) and 1.4.11 (3:1 for graphics). A plate over
    # any picture lies between the plate over black and over white, channel by channel.
    plate = palette.over(palette.INK, palette.PLATE_ALPHA, behind)
    for colour in palette.TEXT_COLOURS:
        assert contrast(colour, plate) >= 4.5
    for colour in palette.GRAPHIC_COLOURS:
        assert contrast(colour, plate) >= 3.0
        assert contrast(colour, palette.BLACK) >= 3.0  # the bar's trough


def test_the_accents_are_the_published_colour_blind_safe_ones():
    # Okabe and Ito, "Color Universal Design" (2008): the eight colours in hex
    published = {
        "000000", "E69F00", "56B4E9", "009E73", "F0E442", "0072B2", "D55E00", "CC79A7",
    }  # fmt: skip
    for name in ("BLACK", "ORANGE", "SKY_BLUE", "BLUISH_GREEN", "YELLOW"):
        assert "{:02X}{:02X}{:02X}".format(*getattr(palette, name)) in published


def test_every_letter_we_write_is_in_the_font():
    pygame.font.init()
    font = pygame.font.Font(None, 40)
    missing = pygame.image.tobytes(font.render("\ue000", True, (255,) * 3), "RGB")
    for letter in "°±…−·'()":
        made = pygame.image.tobytes(font.render(letter, True, (255,) * 3), "RGB")
        assert made != missing, letter


@pytest.mark.parametrize("size_wh", [(1280, 720), (480, 270), (400, 700)])
def test_the_caution_page_holds_every_word_of_the_caution(size_wh):
    _, _, pen = drawn(make_view(caution=True), size_wh)
    for line in (caution.CAUTION_TITLE, *caution.CAUTION_LINES):
        assert line in pen.words
    for _, box, *_ in pen.written:
        assert box.bottom <= size_wh[1]


def test_the_caution_covers_what_it_must_and_is_plain_text():
    words = " ".join(caution.CAUTION_LINES).lower()
    for topic in ("warm up", "ceiling", "stop", "not medical advice", "qualified coach", "people"):
        assert topic in words
    tree = ast.parse(Path(caution.__file__).read_text(encoding="utf-8"))
    assert not [node for node in ast.walk(tree) if isinstance(node, (ast.Import, ast.ImportFrom))]
