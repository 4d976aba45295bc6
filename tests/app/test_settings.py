"""The settings file and the options over it: what is accepted, and how the rest is refused."""

import warnings
from dataclasses import fields, replace

import platformdirs
import pytest
from golfer import play, rep_script
from hypothesis import given
from hypothesis import strategies as st

from trainer.core.records import Handed, Phase
from trainer.core.rules import CueRules, PhaseRules, Rules, SetupRules
from trainer.errors import SettingsError
from trainer.ports import Look
from trainer.settings import (
    Settings,
    default_path,
    from_values,
    load,
    refuse_untold_reps,
    rules_from_values,
    rules_to_values,
    with_options,
)
from trainer.settings_values import RANGES, checked

RULE_SECTIONS = {
    "setup": SetupRules(),
    "phases": PhaseRules(),
    "cues": CueRules(),
    "smoothing": Rules().smoothing,
}
RULE_KEYS = [
    (section, item.name, getattr(default, item.name))
    for section, default in RULE_SECTIONS.items()
    for item in fields(default)
    if item.name != "turn_of"  # a word
]
OTHER_KEYS = [
    ("cues", "turn_of", "chest"),
    ("player", "handed", "left"),
    ("player", "stature_cm", 181),
    ("camera", "source", "swing.mp4"),
    ("camera", "source", 2),
    ("camera", "rotate", 270),
    ("camera", "mirrored", True),
    ("camera", "recorded_fps", 240),
    ("tags", "worn", True),
    ("tags", "size_mm", 118.4),
    ("tags", "lens", "the bay's camera"),
    ("tags", "field_of_view_deg", 78.0),
    ("tags", "tilt_deg", -2.5),
    ("sound", "player", "simpleaudio"),
    ("sound", "level_db", -12.0),
    ("screen", "show_caution", False),
    ("screen", "large_text", True),
    ("screen", "figures", False),
]


def refused(values):
    """Return the words in which ``values`` are refused; each has its three parts."""
    with pytest.raises(SettingsError) as caught:
        from_values(values, "my.toml")
    words = str(caught.value)
    assert words.startswith("my.toml")
    assert words.count(". ") >= 1
    assert words.endswith((".", "]")), words
    return words


def put(settings, section, name):
    """Return what ``[section] name`` became in ``settings``."""
    if section in RULE_SECTIONS:
        return getattr(getattr(settings.rules, section), name)
    if section == "player":
        return getattr(settings.rules, name)
    if section == "sound":
        return settings.sound if name == "player" else settings.level_db
    if section == "screen":
        return settings.show_caution if name == "show_caution" else getattr(settings.look, name)
    if section == "tags":
        return getattr(settings.tags, name)
    return getattr(settings.camera, name)


@pytest.mark.parametrize(("section", "name", "default"), RULE_KEYS)
def test_every_rule_can_be_set_and_lands_where_it_belongs(section, name, default):
    value = not default if isinstance(default, bool) else default * 0.99
    if name == "turn_confidence":
        value = 75.0  # its default is the least there is
    settings = from_values({section: {name: value}}, "my.toml")
    assert put(settings, section, name) == value
    back = replace(
        settings.rules,
        **{section: replace(getattr(settings.rules, section), **{name: default})},
    )
    assert back == Rules()


@pytest.mark.parametrize(("section", "name", "value"), OTHER_KEYS)
def test_every_other_key_can_be_set(section, name, value):
    settings = from_values({section: {name: value}}, "my.toml")
    got = put(settings, section, name)
    assert got == (str(value) if name == "source" else value)
    assert settings != Settings()


def test_an_empty_file_gives_the_defaults():
    assert from_values({}, "my.toml") == Settings()
    assert from_values({"cues": {}, "camera": {}}, "my.toml") == Settings()


def test_an_unknown_section_is_refused_with_the_known_ones():
    words = refused({"cue": {"target_deg": 80}})
    assert "unknown section 'cue'" in words
    assert "camera, cues, phases" in words


@pytest.mark.parametrize(
    "section", ["player", "cues", "setup", "phases", "smoothing", "camera", "sound", "screen"]
)
def test_an_unknown_key_is_refused_in_every_section(section):
    words = refused({section: {"targetdeg": 80}})
    assert "unknown key 'targetdeg'" in words
    assert f"[{section}]" in words
    assert "Known are: " in words


@pytest.mark.parametrize(
    "section", ["player", "cues", "setup", "phases", "smoothing", "camera", "sound", "screen"]
)
def test_a_value_where_a_section_belongs_is_refused(section):
    assert f"A section [{section}] was wanted" in refused({section: 5})


@pytest.mark.parametrize(("section", "name", "default"), RULE_KEYS)
@pytest.mark.parametrize("bad", ["a word", [1], {"a": 1}], ids=["word", "list", "table"])
def test_a_wrong_type_is_refused_for_every_rule(section, name, default, bad):
    words = refused({section: {name: bad}})
    assert f"[{section}] {name} is " in words
    assert "was wanted" in words


@pytest.mark.parametrize(
    ("section", "name"), [(s, n) for s, n, d in RULE_KEYS if not isinstance(d, bool)]
)
@pytest.mark.parametrize("bad", [True, False])
def test_true_is_not_a_number(section, name, bad):
    assert "A number was wanted" in refused({section: {name: bad}})


@pytest.mark.parametrize(
    ("section", "name", "value", "words"),
    [
        ("cues", "hips_strict", 1, "true or false was wanted"),
        ("cues", "turn_of", "hips", "One of shoulders, chest was wanted"),
        ("tags", "worn", "yes", "true or false was wanted"),
        ("tags", "lens", 0, "A text was wanted"),
        ("tags", "size_mm", 12, "give millimetres"),
        ("tags", "size_mm", 0.12, "give millimetres"),
        ("cues", "hips_strict", "true", "true or false was wanted"),
        ("camera", "mirrored", "no", "true or false was wanted"),
        ("screen", "show_caution", 0, "true or false was wanted"),
        ("player", "handed", "Right", "One of right, left was wanted"),
        ("player", "handed", True, "One of right, left was wanted"),
        ("player", "stature_cm", "181", "A number was wanted"),
        ("player", "stature_cm", True, "A number was wanted"),
        ("camera", "rotate", 45, "One of 0, 90, 180, 270 was wanted"),
        ("camera", "rotate", 90.0, "One of 0, 90, 180, 270 was wanted"),
        ("camera", "rotate", False, "One of 0, 90, 180, 270 was wanted"),
        ("camera", "rotate", "90", "One of 0, 90, 180, 270 was wanted"),
        ("camera", "source", True, "A camera's number, an address or a file was wanted"),
        ("camera", "source", 1.5, "A camera's number, an address or a file was wanted"),
        ("camera", "source", ["a"], "A camera's number, an address or a file was wanted"),
        ("camera", "recorded_fps", 0, "A value from 1 to 2000 was wanted"),
        ("camera", "recorded_fps", "240", "A number was wanted"),
        ("sound", "player", "loud", "One of auto, pygame, simpleaudio, off was wanted"),
        ("sound", "player", False, "One of auto, pygame, simpleaudio, off was wanted"),
    ],
)
def test_each_kind_of_wrong_value_says_what_was_wanted(section, name, value, words):
    assert words in refused({section: {name: value}})


@pytest.mark.parametrize(
    ("said", "per_cent"),
    [
        ("even odds", 50.0),
        ("even-odds", 50.0),
        ("Likely", 75.0),
        ("surely", 95.0),
        (50, 50.0),
        (99, 99.0),
        (82.5, 82.5),
    ],
)
def test_the_confidence_of_the_turn_is_a_word_or_per_cent(said, per_cent):
    settings = from_values({"cues": {"turn_confidence": said}}, "my.toml")
    assert settings.rules.cues.turn_confidence == per_cent
    # The command line hands numbers over as text.
    over = with_options(Settings(), turn_confidence=str(said))
    assert over.rules.cues.turn_confidence == per_cent
    assert rules_from_values(rules_to_values(over.rules), "a trace") == over.rules


@pytest.mark.parametrize("bad", ["certain", "", "nan", "100", "49.9", 100, 49.9, True, None])
def test_a_confidence_that_cannot_be_had_is_refused(bad):
    assert "turn_confidence is " in refused({"cues": {"turn_confidence": bad}})
    assert '"even odds", "likely", "surely"' in refused({"cues": {"turn_confidence": "certain"}})
    with pytest.raises(SettingsError, match="--confidence is "):
        with_options(Settings(), turn_confidence="certain")


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -float("inf"), 10**400])
@pytest.mark.parametrize(
    ("section", "name"),
    [("player", "stature_cm"), ("cues", "target_deg"), ("phases", "lost_s"), ("setup", "still_s")],
)
def test_numbers_that_are_none_are_refused(section, name, bad):
    assert "A finite number was wanted" in refused({section: {name: bad}})


@pytest.mark.parametrize("name", sorted(RANGES))
def test_a_range_holds_its_ends_and_nothing_beyond(name):
    low, high = RANGES[name]
    assert checked(name, low, "x") == low
    assert checked(name, high, "x") == high
    for outside in (low - 0.001, high + 0.001):
        with pytest.raises(SettingsError, match=f"A value from {low:g} to {high:g} was wanted"):
            checked(name, outside, "x")


@pytest.mark.parametrize(
    ("name", "value", "hint"),
    [
        ("stature_cm", 1.81, "looks like metres"),
        ("stature_cm", 71, "looks like inches; multiply by 2.54"),
        ("stature_cm", 1810, "looks like millimetres"),
        ("target_deg", 1.48, "looks like radians"),
        ("turn_confidence", 0.75, "looks like a share"),
        ("head_tol_cm", 50, "looks like millimetres"),
        ("head_tol_cm", 0.05, "looks like metres"),
        ("hip_tol_cm", 40, "looks like millimetres"),
        ("hip_tol_cm", 0.04, "looks like metres"),
        ("target_deg", 200, "give a value in that range"),
        ("stature_cm", 400, "give a value in that range"),
    ],
)
def test_a_likely_wrong_unit_is_named(name, value, hint):
    with pytest.raises(SettingsError, match=hint):
        checked(name, value, "x")


def test_only_the_wrong_way_arc_and_the_backs_gap_may_be_negative():
    settings = from_values({"phases": {"wrong_way_arc_deg": -30}}, "my.toml")
    assert settings.rules.phases.wrong_way_arc_deg == -30
    assert "from -180 to 0" in refused({"phases": {"wrong_way_arc_deg": 30}})
    signed = ("wrong_way_arc_deg", "back_gap_low_cm")
    for section, name, default in RULE_KEYS:
        if not isinstance(default, bool) and name not in signed:
            assert "was wanted" in refused({section: {name: -1}})


@pytest.mark.parametrize(
    ("section", "name"), [(s, n) for s, n, d in RULE_KEYS if not isinstance(d, bool)]
)
@pytest.mark.parametrize("end", [0, 1])
def test_no_accepted_value_breaks_the_run(section, name, end):
    """A setting may make the mirror useless, but it must not end it with a traceback."""
    value = ((-180.0, 0.0) if name == "wrong_way_arc_deg" else RANGES.get(name, (0.0, 1e4)))[end]
    beside = {"still_s": {"window_s": 60}, "window_s": {"still_s": 0.1}}.get(name, {})
    rules = from_values({section: {name: value, **beside}}, "my.toml").rules
    script, _ = rep_script(hold_s=0.2, still_s=1.0)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert play(script, rules=rules).steps


@pytest.mark.parametrize("values", [{"still_s": 2.0}, {"window_s": 0.7}, {"still_s": 1.15}])
def test_a_stillness_longer_than_what_is_remembered_is_refused(values):
    assert "Raise window_s too" in refused({"setup": values})


def test_the_longest_stillness_that_is_accepted_still_finds_a_setup():
    rules = from_values({"setup": {"still_s": 2.0, "window_s": 2.1}}, "my.toml").rules
    script, _ = rep_script(still_s=4.0)
    assert Phase.TOP in play(script, rules=rules).phases


# --- the file ---


def test_a_file_is_read(tmp_path):
    path = tmp_path / "my.toml"
    path.write_text('[player]\nhanded = "left"\n[cues]\ntarget_deg = 70\n', encoding="utf-8")
    settings = load(path)
    assert settings.rules.handed is Handed.LEFT
    assert settings.rules.cues.target_deg == 70


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"[cues\ntarget_deg = 70", "is not valid TOML"),
        (b"target_deg", "is not valid TOML"),
        (b"[cues]\ntarget_deg = 70\ntarget_deg = 80\n", "is not valid TOML"),
        (b'[player]\nhanded = "l\xe9ft"\n', "could not be read"),
        (b"[cues]\ntarget_deg = nan\n", "A finite number was wanted"),
        (b"[cues]\ntarget_deg = inf\n", "A finite number was wanted"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_by_name(tmp_path, content, words):
    path = tmp_path / "my.toml"
    path.write_bytes(content)
    with pytest.raises(SettingsError, match=words) as caught:
        load(path)
    assert str(path) in str(caught.value)


def test_a_named_file_that_is_missing_is_refused(tmp_path):
    with pytest.raises(SettingsError, match="there is no settings file"):
        load(tmp_path / "none.toml")
    with pytest.raises(SettingsError, match="could not be read"):
        load(tmp_path)


def test_the_default_file_is_used_when_none_is_named(tmp_path, monkeypatch):
    monkeypatch.setattr(platformdirs, "user_config_dir", lambda *names, **more: str(tmp_path))
    assert default_path() == tmp_path / "settings.toml"
    assert load(None) == Settings()
    (tmp_path / "settings.toml").write_text("[cues]\nhead_tol_cm = 7.5\n", encoding="utf-8")
    assert load(None).rules.cues.head_tol_cm == 7.5
    other = tmp_path / "other.toml"
    other.write_text("", encoding="utf-8")
    assert load(other) == Settings()


# --- options over it ---


def test_options_stand_over_the_file():
    file = from_values(
        {
            "player": {"handed": "left", "stature_cm": 170},
            "cues": {"target_deg": 70, "head_tol_cm": 7, "hip_tol_cm": 6},
        },
        "my.toml",
    )
    assert with_options(file) == file
    over = with_options(
        file, handed="right", stature_cm=180, target_deg=90, head_tol_cm=3, hip_tol_cm=2
    )
    assert (over.rules.handed, over.rules.stature_cm) == (Handed.RIGHT, 180)
    cues = over.rules.cues
    assert (cues.target_deg, cues.head_tol_cm, cues.hip_tol_cm) == (90, 3, 2)
    only = with_options(file, target_deg=90)
    assert only.rules.handed is Handed.LEFT
    assert only.rules.cues.head_tol_cm == 7


@pytest.mark.parametrize(
    ("option", "value"),
    [("stature_cm", 1.8), ("target_deg", 1.5), ("head_tol_cm", 60.0), ("hip_tol_cm", 60.0)],
)
def test_an_option_out_of_range_is_refused_by_its_own_name(option, value):
    with pytest.raises(SettingsError, match=f"--{option.replace('_', '-')} is") as caught:
        with_options(Settings(), **{option: value})
    assert "looks like" in str(caught.value)


# --- rules in a trace's header ---


@given(
    handed=st.sampled_from(Handed),
    stature_cm=st.none() | st.floats(100, 230),
    pain=st.booleans(),
    target_deg=st.floats(45, 110),
    lost_s=st.floats(0, 1e4),
    strict=st.booleans(),
)
def test_rules_written_down_and_read_back_are_the_same(
    handed, stature_cm, pain, target_deg, lost_s, strict
):
    rules = Rules(
        handed=handed,
        stature_cm=stature_cm,
        pain=pain,
        phases=PhaseRules(lost_s=lost_s),
        cues=CueRules(target_deg=target_deg, hips_strict=strict),
    )
    assert rules_from_values(rules_to_values(rules), "a trace") == rules


def test_a_mirror_that_would_tell_nothing_is_refused():
    nothing = from_values({"sound": {"player": "off"}, "screen": {"figures": False}}, "my.toml")
    with pytest.raises(SettingsError, match="nothing would tell of a rep"):
        refuse_untold_reps(nothing)
    for values in ({"sound": {"player": "off"}}, {"screen": {"figures": False}}):
        refuse_untold_reps(from_values(values, "my.toml"))


def test_options_make_text_large_and_take_figures_away():
    settings = with_options(Settings(), large_text=True, no_figures=True)
    assert settings.look == Look(large_text=True, figures=False)
    assert with_options(settings).look == settings.look  # what is not given stays
