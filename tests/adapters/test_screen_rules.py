"""The sheet of rules (docs/screen-rules.md) against the code, and the colours in other eyes."""

import math
import re
import warnings
from pathlib import Path

import colour
import numpy as np
import pytest
from colour.blindness import matrix_cvd_Machado2009
from screen_views import drawn, make_measures, make_step, make_view
from test_screen_colours import contrast

from trainer.adapters import palette, screen_calm, screen_layout
from trainer.core.records import Phase
from trainer.pages.shots import SHOTS

ROOT = Path(__file__).resolve().parents[2]
SHEET = (ROOT / "docs/screen-rules.md").read_text(encoding="utf-8")
LAPTOP_MM = 15.6 * 25.4 * 9 / math.hypot(16, 9)  # height of a 15.6-inch screen of 16:9


def rows(heading):
    part = SHEET.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    lines = re.findall(r"^\| (.+) \|$", part, re.MULTILINE)
    return [[cell.strip() for cell in line.split(" | ")] for line in lines[1:]]


def arcmin(height_mm, distance_mm):
    """Visual angle of a height, in minutes of arc (geometry)."""
    return 60 * math.degrees(2 * math.atan(height_mm / (2 * distance_mm)))


def test_the_arithmetic_gives_the_worked_figures_of_a_handbook():
    # Cap heights for 16, 20 and 22 minutes of arc at 0.6 m: 2.8, 3.5 and 3.8 mm, the usual
    # figures for a desk (ISO 9241-3: 16 least, 20 to 22 preferred)
    for minutes, height_mm in ((16, 2.8), (20, 3.5), (22, 3.8)):
        assert arcmin(height_mm, 600) == pytest.approx(minutes, abs=0.3)


def test_the_grid_is_the_code_s():
    found = rows("Grid")
    assert len(found) == 4
    for name, share, _ in found:
        assert float(share) == getattr(screen_layout, name.strip("`"))


def test_the_sizes_are_the_code_s_and_their_angles_follow():
    found = rows("Sizes")
    assert {row[0].strip("`") for row in found} == {
        "FIGURE", "HEADLINE", "TITLE", "WORD", "NOTICE", "LINE", "SMALL",
    }  # fmt: skip
    for name, share, height, angle, far, _ in found:
        mine = getattr(screen_layout, name.strip("`"))
        assert float(share) == mine
        assert float(height.removesuffix(" mm")) == pytest.approx(mine * LAPTOP_MM, abs=0.06)
        assert float(angle.removesuffix("′")) == pytest.approx(
            arcmin(mine * LAPTOP_MM, 3000), abs=0.06
        )
        distance_mm = 1000 * float(far.removesuffix(" m"))
        assert arcmin(mine * LAPTOP_MM, distance_mm) == pytest.approx(16, abs=0.9)


def test_figures_and_headlines_are_large_enough_from_where_the_player_stands():
    # ISO 9241-3: at least 16 minutes of arc, 20 to 22 preferred
    assert arcmin(screen_layout.FIGURE * LAPTOP_MM, 3000) >= 20
    assert arcmin(screen_layout.HEADLINE * LAPTOP_MM, 3000) >= 16
    assert float(re.search(r"`LARGE_TEXT` = ([\d.]+)", SHEET)[1]) == screen_layout.LARGE_TEXT


def test_the_colours_are_the_code_s_and_their_contrast_too():
    plate = palette.over(palette.INK, palette.PLATE_ALPHA, (255, 255, 255))
    found = rows("Colours")
    assert len(found) == len({*palette.TEXT_COLOURS, *palette.GRAPHIC_COLOURS}) + 1  # warning
    for name, code, ratio, meaning, shape in found:
        mine = getattr(palette, name.strip("`"))
        assert code == "`#{:02X}{:02X}{:02X}`".format(*mine)
        assert float(ratio.removesuffix(":1")) == pytest.approx(contrast(mine, plate), abs=0.06)
        assert meaning
        assert shape


def test_the_motion_is_the_code_s():
    for name, value, _ in rows("Motion"):
        assert float(value) == pytest.approx(getattr(screen_calm, name.strip("`")))


def test_every_page_is_shown_on_the_sheet():
    shown = re.findall(r"\(images/pages/([\w-]+)\.png\)", SHEET)
    assert sorted(shown) == sorted(SHOTS)


# Other eyes. The simulation is that of Machado, Oliveira and Fernandes (2009, IEEE TVCG 15:1291)
# as colour-science has it, whole deficiency, in linear light. For eyes without blue it is only an
# approximation, as the authors say themselves.
with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # that it is an approximation
    EYES = {
        "usual": np.eye(3),
        "without red": matrix_cvd_Machado2009("Protanomaly", 1.0),
        "without green": matrix_cvd_Machado2009("Deuteranomaly", 1.0),
        "without blue": matrix_cvd_Machado2009("Tritanomaly", 1.0),
    }
each_eye = pytest.mark.parametrize("eye", EYES)
#: Least difference of lightness between good and not good, in CIE L*: chosen. A step of 1 is about
#: what an eye just tells apart side by side (from memory).
LEAST_L = 5.0


def seen(rgb, eye):
    """Return colours (..., 3) of 0..255 as that eye sees them, in linear light."""
    linear = colour.models.eotf_sRGB(np.asarray(rgb) / 255)
    return np.clip(linear @ EYES[eye].T, 0.0, 1.0)


def lightness(linear):
    """Return CIE L* of linear sRGB colours (..., 3)."""
    return colour.colorimetry.lightness_CIE1976(linear @ [0.2126, 0.7152, 0.0722] * 100)


def test_the_simulation_confuses_what_a_person_without_red_or_green_confuses():
    # A red and a green of equal lightness are the textbook pair: far apart to the usual eye
    red, green = (200, 60, 60), (60, 122, 40)
    apart = {
        eye: float(
            colour.delta_E(
                *(
                    colour.XYZ_to_Lab(
                        colour.RGB_to_XYZ(seen(c, eye), "sRGB", apply_cctf_decoding=False)
                    )
                    for c in (red, green)
                )
            )
        )
        for eye in EYES
    }
    assert apart["without green"] < 0.35 * apart["usual"]
    assert apart["without red"] < 0.5 * apart["usual"]


@each_eye
def test_good_and_not_good_differ_in_lightness_for_every_eye(eye):
    good = float(lightness(seen(palette.REACHED, eye)))
    for other in (palette.BEYOND, palette.BELOW):
        assert abs(float(lightness(seen(other, eye))) - good) >= LEAST_L


@each_eye
def test_everything_keeps_its_contrast_for_every_eye(eye):
    # WCAG 2.x success criteria 1.4.3 and 1.4.11, on a plate over a white picture
    plate = palette.over(palette.INK, palette.PLATE_ALPHA, (255, 255, 255))

    def ratio(one):
        a, b = (float(seen(c, eye) @ [0.2126, 0.7152, 0.0722]) + 0.05 for c in (one, plate))
        return max(a, b) / min(a, b)

    for one in palette.TEXT_COLOURS:
        assert ratio(one) >= 4.5
    for one in palette.GRAPHIC_COLOURS:
        assert ratio(one) >= 3.0


def mark(head_cm, eye):
    """Return (share of its box that is filled, brightest edge) of the head's mark in that eye."""
    clean = make_view(step=make_step(Phase.BACKSWING, make_measures(40, None, 0)))
    view = make_view(step=make_step(Phase.BACKSWING, make_measures(40, head_cm, 0)))
    pixels, layout, pen = drawn(view)
    before, *_ = drawn(clean)
    box = layout.head.beam
    part = np.s_[round(box.y) - 3 : round(box.bottom) + 3, round(box.x) : round(box.right) + 3]
    change = (pixels[part] != before[part]).any(axis=2)
    ys, xs = np.nonzero(change)
    filled = change[ys.min() : ys.max() + 1, xs.min() : xs.max() + 1].mean()
    brightest = float(lightness(seen(pixels[part][change], eye)).max())
    return filled, brightest, pen.words


@each_eye
def test_a_head_in_its_place_and_one_out_differ_in_shape_word_and_lightness(eye):
    round_filled, round_bright, words_in = mark(2.0, eye)
    out_filled, out_bright, words_out = mark(9.0, eye)
    assert round_filled > 0.7  # a disc fills pi/4 of its square
    assert out_filled < 0.62  # an arrowhead half of it, and its edge
    assert out_bright - round_bright > 2 * LEAST_L
    assert "out" not in words_in.split()
    assert "out" in words_out.split()


@each_eye
def test_a_turn_reached_differs_from_one_below_in_word_shape_and_lightness(eye):
    below, reached = (
        drawn(make_view(step=make_step(Phase.TOP, make_measures(turn, 0, 0)))) for turn in (60, 82)
    )
    assert "there" in reached[2].words
    assert "there" not in below[2].words
    bar = reached[1].turn.bar
    at = (round(bar.bottom - 0.3 * bar.h), round(bar.x + bar.w / 2))
    a, b = (float(lightness(seen(pixels[at], eye))) for pixels, *_ in (below, reached))
    assert abs(a - b) >= LEAST_L
