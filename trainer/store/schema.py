"""The tables, and the steps from each earlier version of them to the next.

``PRAGMA user_version`` of the file says which version it is of. A step, once released, is never
changed: files made by it are in people's hands.
"""

from __future__ import annotations

import sqlite3
from typing import Final

#: Marks the file as ours (``PRAGMA application_id``): the letters "bsmr".
APPLICATION_ID: Final = 0x62736D72

_VERSION_1: Final = """
CREATE TABLE players (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL
);
CREATE TABLE sessions (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    player_id INTEGER NOT NULL REFERENCES players (id) ON DELETE CASCADE,
    began_utc TEXT NOT NULL,
    utc_offset_min INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('live', 'clip')),
    source TEXT NOT NULL,
    model TEXT NOT NULL,
    model_fitted INTEGER NOT NULL CHECK (model_fitted IN (0, 1)),
    program TEXT NOT NULL
);
CREATE INDEX sessions_by_time ON sessions (began_utc);
CREATE INDEX sessions_by_player ON sessions (player_id, began_utc);
CREATE TABLE reps (
    id INTEGER PRIMARY KEY,
    session_id INTEGER NOT NULL REFERENCES sessions (id) ON DELETE CASCADE,
    number INTEGER NOT NULL CHECK (number >= 1),
    ended_utc TEXT NOT NULL,
    utc_offset_min INTEGER NOT NULL,
    complete INTEGER NOT NULL CHECK (complete IN (0, 1)),
    good INTEGER CHECK (good IN (0, 1)),
    words TEXT NOT NULL,
    handed TEXT NOT NULL CHECK (handed IN ('right', 'left')),
    stature_cm REAL,
    cm_per_px REAL,
    scale_from_stature INTEGER CHECK (scale_from_stature IN (0, 1)),
    setup_t_s REAL NOT NULL,
    takeaway_t_s REAL NOT NULL,
    top_t_s REAL,
    top_end_t_s REAL,
    setup_read_t_s REAL,
    setup_chest_pitch_deg REAL,
    setup_side_tilt_deg REAL,
    setup_back_gap_cm REAL,
    setup_chest_pitch_se_deg REAL,
    setup_side_tilt_se_deg REAL,
    setup_back_gap_se_cm REAL,
    top_read_t_s REAL,
    top_shoulder_turn_deg REAL,
    top_hip_turn_deg REAL,
    top_head_lateral_cm REAL,
    top_head_vertical_cm REAL,
    top_hip_lateral_cm REAL,
    top_chest_pitch_deg REAL,
    top_separation_deg REAL,
    top_side_tilt_deg REAL,
    top_back_gap_cm REAL,
    top_hand_lateral_cm REAL,
    top_hand_height_cm REAL,
    top_hand_arc_deg REAL,
    top_hand_speed_cm_s REAL,
    top_shoulder_turn_se_deg REAL,
    top_hip_turn_se_deg REAL,
    top_head_lateral_se_cm REAL,
    top_head_vertical_se_cm REAL,
    top_hip_lateral_se_cm REAL,
    top_chest_pitch_se_deg REAL,
    top_separation_se_deg REAL,
    top_side_tilt_se_deg REAL,
    top_back_gap_se_cm REAL,
    max_shoulder_turn_deg REAL,
    max_head_lateral_cm REAL,
    max_head_vertical_cm REAL,
    max_hip_lateral_cm REAL,
    max_shoulder_turn_se_deg REAL,
    max_head_lateral_se_cm REAL,
    max_head_vertical_se_cm REAL,
    max_hip_lateral_se_cm REAL,
    target_deg REAL NOT NULL,
    turn_band_deg REAL NOT NULL,
    turn_confidence REAL NOT NULL,
    head_tol_cm REAL NOT NULL,
    hip_tol_cm REAL NOT NULL,
    hips_strict INTEGER NOT NULL CHECK (hips_strict IN (0, 1)),
    back_gap_low_cm REAL NOT NULL,
    back_gap_high_cm REAL NOT NULL,
    ball_line_cm REAL,
    pain INTEGER NOT NULL CHECK (pain IN (0, 1)),
    own_turn_deg REAL,
    own_head_lateral_cm REAL,
    own_head_vertical_cm REAL,
    own_hip_lateral_cm REAL,
    own_back_gap_cm REAL,
    cues_heard INTEGER CHECK (cues_heard IN (0, 1)),
    practice_kind TEXT,
    schedule TEXT,
    guess TEXT,
    coach_good INTEGER CHECK (coach_good IN (0, 1)),
    note TEXT,
    UNIQUE (session_id, number)
);
CREATE TABLE cues (
    rep_id INTEGER NOT NULL REFERENCES reps (id) ON DELETE CASCADE,
    place INTEGER NOT NULL,
    kind TEXT NOT NULL,
    side TEXT,
    strength REAL NOT NULL,
    t_s REAL NOT NULL,
    decided_t_s REAL NOT NULL,
    PRIMARY KEY (rep_id, place)
) WITHOUT ROWID;
CREATE TABLE curves (
    rep_id INTEGER PRIMARY KEY REFERENCES reps (id) ON DELETE CASCADE,
    names TEXT NOT NULL,
    readings INTEGER NOT NULL CHECK (readings >= 1),
    packed BLOB NOT NULL
);
CREATE TABLE poses (
    rep_id INTEGER NOT NULL REFERENCES reps (id) ON DELETE CASCADE,
    moment TEXT NOT NULL CHECK (moment IN ('setup', 'top')),
    width_px INTEGER NOT NULL,
    height_px INTEGER NOT NULL,
    points BLOB NOT NULL,
    PRIMARY KEY (rep_id, moment)
) WITHOUT ROWID;
"""

#: The same clip measured once more takes the place of what it gave before.
_VERSION_2: Final = """
ALTER TABLE sessions ADD COLUMN clip_sha256 TEXT;
CREATE INDEX sessions_by_clip ON sessions (clip_sha256) WHERE clip_sha256 IS NOT NULL;
"""

#: What printed tags read, which turn the target is about, and the hands of the reference rep.
_VERSION_3: Final = """
ALTER TABLE reps ADD COLUMN top_thorax_turn_deg REAL;
ALTER TABLE reps ADD COLUMN top_thorax_turn_se_deg REAL;
ALTER TABLE reps ADD COLUMN top_chest_extension_deg REAL;
ALTER TABLE reps ADD COLUMN top_chest_extension_se_deg REAL;
ALTER TABLE reps ADD COLUMN top_side_bend_deg REAL;
ALTER TABLE reps ADD COLUMN top_side_bend_se_deg REAL;
ALTER TABLE reps ADD COLUMN turn_of TEXT NOT NULL DEFAULT 'shoulders';
ALTER TABLE reps ADD COLUMN own_hand_lateral_cm REAL;
ALTER TABLE reps ADD COLUMN own_hand_height_cm REAL;
"""

#: Reps that were filmed: what the clip beside the record is, so that no other is taken for it.
_VERSION_4: Final = """
CREATE TABLE pictures (
    rep_id INTEGER PRIMARY KEY REFERENCES reps (id) ON DELETE CASCADE,
    bytes INTEGER NOT NULL CHECK (bytes > 0),
    sha256 TEXT NOT NULL,
    width_px INTEGER NOT NULL,
    height_px INTEGER NOT NULL,
    rate_hz INTEGER NOT NULL CHECK (rate_hz > 0),
    frames INTEGER NOT NULL CHECK (frames > 0),
    top_frame INTEGER
);
"""

#: ``STEPS[n]`` leads from version n to version n + 1.
STEPS: Final = (_VERSION_1, _VERSION_2, _VERSION_3, _VERSION_4)
VERSION: Final = len(STEPS)


def version_of(db: sqlite3.Connection) -> int:
    """Return the version a file is of; 0 for a new, empty one."""
    version: int = db.execute("PRAGMA user_version").fetchone()[0]
    return version


def bring_up(db: sqlite3.Connection, steps: tuple[str, ...] = STEPS) -> None:
    """Make a file the newest version, in one transaction: all of it or nothing.

    Raises sqlite3.Error when it cannot be written. The caller has seen to it that the file is not
    of a newer version.
    """
    db.execute("BEGIN IMMEDIATE")
    try:
        # Another program may have done it while this one waited for the lock.
        for number in range(version_of(db), len(steps)):
            for statement in _statements(steps[number]):
                db.execute(statement)
        db.execute(f"PRAGMA user_version = {len(steps)}")
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    except BaseException:
        db.rollback()
        raise
    db.commit()


def _statements(script: str) -> list[str]:
    """Return a script's statements one by one: ``executescript`` would commit before it begins."""
    return [part.strip() for part in script.split(";\n") if part.strip()]
