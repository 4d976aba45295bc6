"""MediaPipe's landmarks become one player's poses, or None."""

import json
import zipfile
from types import SimpleNamespace

import numpy as np
import pytest
from golfer import SETUP, TOP, View, pose_of

from trainer.adapters.model_bundle import DETECTOR, LANDMARKER
from trainer.adapters.picture_memory import PictureMemory, image_of
from trainer.adapters.pose import MediapipePose, _Known, _Screen, pose_from_landmarks
from trainer.core.landmarks import LANDMARK_COUNT, Landmark
from trainer.core.records import Frame
from trainer.errors import PoseError
from trainer.estimator_file import shipped
from trainer.resources import resource_dir

HZ = 30.0
#: Columns of the clip's golfer, with room for a swing's arms, and of a stretch of bare wall.
GOLFER_COLUMNS = slice(440, 840)


@pytest.fixture
def estimator(real_model):
    made = MediapipePose(real_model, synchronous=True, trunk=shipped().network)
    yield made
    made.close()


def frames(images, start_s=0.0, hz=HZ):
    return [Frame(t_s=start_s + i / hz, index=i, image_rgb=image) for i, image in enumerate(images)]


def hips_x(pose):
    return float(pose.image_px[[Landmark.LEFT_HIP, Landmark.RIGHT_HIP], 0].mean())


def with_another(image, stranger, x):
    """Return ``image`` with the 260 middle columns of ``stranger``'s golfer pasted at x."""
    cut = stranger[:, 510:770]
    left, right = round(x) - 130, round(x) + 130
    shown_left, shown_right = max(left, 0), min(right, image.shape[1])
    both = image.copy()
    if shown_left < shown_right:
        both[:, shown_left:shown_right] = cut[:, shown_left - left : shown_right - left]
    return both


def test_our_landmark_numbers_are_mediapipe_s_own():
    from mediapipe.tasks.python.vision.pose_landmarker import PoseLandmark

    assert {point.name: point.value for point in Landmark} == {
        point.name: point.value for point in PoseLandmark
    }


def test_landmarks_become_pixels_of_the_unmirrored_picture():
    points = [
        SimpleNamespace(x=i / 32, y=0.5, z=-0.25, visibility=None if i == 0 else 0.9)
        for i in range(LANDMARK_COUNT)
    ]
    world = [SimpleNamespace(x=0.1, y=-0.2, z=0.3) for _ in range(LANDMARK_COUNT)]
    pose = pose_from_landmarks(2.5, (1280, 720), points, world)
    assert pose.t_s == 2.5
    assert pose.size_wh == (1280, 720)
    assert pose.image_px.tolist() == [[1280 * i / 32, 360.0] for i in range(LANDMARK_COUNT)]
    assert set(pose.depth_px) == {-320.0}
    assert pose.world_m.tolist() == [[0.1, -0.2, 0.3]] * LANDMARK_COUNT
    assert pose.visibility.tolist() == [0.0] + [0.9] * 32


def test_the_screen_hides_all_but_the_box_whatever_came_before():
    screen = _Screen(PictureMemory())
    rng = np.random.default_rng(1)
    for box in ((10.0, 5.0, 30.0, 25.0), (10.0, 5.0, 30.0, 25.0), (0.0, 0.0, 63.0, 47.0)):
        image = rng.integers(0, 256, (48, 64, 3), dtype=np.uint8)
        shown = screen.blanked(image, box)
        left, top, right, bottom = (int(edge) for edge in box)
        inside = np.zeros((48, 64), bool)
        inside[top : bottom + 1, left : right + 1] = True
        assert (shown[inside] == image[inside]).all()
        assert (shown[~inside] == 127).all()


@pytest.mark.parametrize(("locked", "followed_x"), [(True, 960.0), (False, 640.0)])
def test_a_look_in_the_middle_of_a_swing_does_not_change_who_is_followed(locked, followed_x):
    """The player, small and aside, is at the top; a coach stands large in the middle."""
    coach = pose_of(SETUP, View(distance_m=2.4), 0.0).image_px
    coach[[Landmark.LEFT_WRIST, Landmark.RIGHT_WRIST]] += [[150.0, 0.0], [-150.0, 0.0]]
    player = pose_of(TOP, View(distance_m=4.0), 0.0).image_px + [320.0, 0.0]
    know = _Known(size_wh=(1280, 720))
    for second in range(5):
        know.last_t_s, know.locked = float(second), locked and second > 0
        know.note_look(float(second), [player] if second == 0 else [coach, player])
    assert know.following.home.hips_px[0] == pytest.approx(followed_x, abs=30.0)


def test_a_file_that_is_no_model_is_a_pose_error(tmp_path):
    path = tmp_path / "no.task"
    with zipfile.ZipFile(path, "w") as out:
        out.writestr(DETECTOR, b"x")
        out.writestr(LANDMARKER, b"x")
    with pytest.raises(PoseError, match=r"no\.task could not be loaded.*was wanted"):
        MediapipePose(path)
    with pytest.raises(PoseError, match="could not be loaded"):
        MediapipePose(tmp_path / "absent.task")


@pytest.mark.real_pose
def test_an_empty_room_is_nobody_and_no_failure(estimator):
    rng = np.random.default_rng(7)
    wall = np.linspace(90, 190, 1280)[None, :, None] * np.ones((720, 1, 3))
    wall[500:] *= 0.6
    room = [np.clip(wall + rng.normal(0, 6, wall.shape), 0, 255).astype(np.uint8) for _ in "123"]
    assert [estimator.estimate(frame) for frame in frames(room)] == [None] * 3
    assert estimator.notice() == ""


@pytest.mark.real_pose
def test_a_golfer_is_found_in_every_frame_of_a_swing(estimator, golfer_clip):
    poses = [estimator.estimate(frame) for frame in frames(golfer_clip)]
    assert None not in poses
    assert [pose.t_s for pose in poses] == [i / HZ for i in range(len(golfer_clip))]
    assert estimator.notice() == ""


@pytest.mark.real_pose
def test_the_golfer_is_where_the_picture_shows_them_and_not_mirrored(estimator, golfer_clip):
    pose = estimator.estimate(frames(golfer_clip)[0])
    assert pose.size_wh == (1280, 720)
    # The clip's own true joints; the pose model's points lie on the skin, not in the joint.
    truth = json.loads((resource_dir("demo_data") / "full-turn-right.truth.json").read_text())
    joints = truth["frames"][0]["joints_px"]
    for point, joint in (
        (Landmark.NOSE, "nose"),
        (Landmark.LEFT_SHOULDER, "left_shoulder"),
        (Landmark.RIGHT_SHOULDER, "right_shoulder"),
        (Landmark.LEFT_WRIST, "left_wrist"),
        (Landmark.RIGHT_ANKLE, "right_ankle"),
        (Landmark.LEFT_ANKLE, "left_ankle"),
    ):
        assert pose.image_px[point] == pytest.approx(joints[joint], abs=35), point.name
    assert np.abs(pose.world_m[[Landmark.LEFT_HIP, Landmark.RIGHT_HIP]].mean(axis=0)).max() < 0.03


@pytest.mark.real_pose
def test_a_clip_gives_the_same_poses_in_every_run_wherever_pictures_lie(real_model, golfer_clip):
    images = [
        with_another(image, golfer_clip[0], 1250 - 10 * i)
        for i, image in enumerate(golfer_clip[:60])
    ]

    def lent(memory, image):
        picture = memory.lend(*image.shape[:2])
        assert image_of(picture) is not None
        picture[:] = image
        return picture

    runs = []
    for lie in (lambda memory, image: image, lambda memory, image: image, lent):
        memory = PictureMemory()
        estimator = MediapipePose(real_model, synchronous=True, memory=memory)
        poses = [
            estimator.estimate(Frame(t_s=i / HZ, index=i, image_rgb=lie(memory, image)))
            for i, image in enumerate(images)
        ]
        runs.append([None if pose is None else pose.image_px.tobytes() for pose in poses])
        estimator.close()
    assert runs[0] == runs[1] == runs[2]
    assert any(runs[0])


@pytest.mark.real_pose
def test_a_clip_that_begins_again_gives_poses_again(estimator, golfer_clip):
    for _ in range(2):
        poses = [estimator.estimate(frame) for frame in frames(golfer_clip[:5])]
        assert None not in poses


@pytest.mark.real_pose
def test_frames_less_than_a_millisecond_apart_are_no_trouble(estimator, golfer_clip):
    poses = [estimator.estimate(frame) for frame in frames(golfer_clip[:8], 1e5, hz=2400.0)]
    assert None not in poses


@pytest.mark.real_pose
def test_a_picture_of_another_size_is_no_trouble(estimator, golfer_clip):
    assert estimator.estimate(frames(golfer_clip)[0]) is not None
    half = np.ascontiguousarray(golfer_clip[0][::2, ::2])
    pose = estimator.estimate(Frame(t_s=1.0, index=1, image_rgb=half))
    assert pose.size_wh == (640, 360)


@pytest.mark.real_pose
@pytest.mark.parametrize("place_x", [180, 1080])
def test_the_golfer_in_the_middle_is_followed_beside_a_bystander(estimator, golfer_clip, place_x):
    alone = [image.copy() for image in golfer_clip]
    images = [with_another(image, golfer_clip[0], place_x) for image in alone]
    poses = [estimator.estimate(frame) for frame in frames(images)]
    assert estimator.notice() == "two people in view: following the one in the middle"
    seen = [pose for pose in poses if pose is not None]
    assert len(seen) >= 0.98 * len(poses)
    assert all(abs(hips_x(pose) - 640) < 80 for pose in seen)


@pytest.mark.real_pose
def test_hiding_the_bystander_does_not_move_the_golfer(real_model, golfer_clip):
    """The points that the measures hang on stay where they are without the bystander."""
    needed = [Landmark.NOSE, *range(Landmark.LEFT_SHOULDER, Landmark.RIGHT_WRIST + 1)]
    needed += [Landmark.LEFT_HIP, Landmark.RIGHT_HIP]
    tracks = []
    for place_x in (None, 1080):
        estimator = MediapipePose(real_model, synchronous=True)
        images = golfer_clip[:130]
        if place_x is not None:
            images = [with_another(image, golfer_clip[0], place_x) for image in images]
        poses = [estimator.estimate(frame) for frame in frames(images)]
        assert None not in poses
        tracks.append(np.stack([pose.image_px[needed] for pose in poses]))
        estimator.close()
    apart = np.linalg.norm(tracks[0] - tracks[1], axis=2)
    assert np.percentile(apart, 95) < 6.0


@pytest.mark.real_pose
def test_a_passer_by_in_front_does_not_take_the_tracker_along(estimator, golfer_clip):
    """Somebody walks right through at about 1.5 m/s; the golfer stands still."""
    still = golfer_clip[0]
    xs = [1450 - 15 * i for i in range(120)]
    images = [with_another(still, still, x) for x in xs]
    read = [estimator.estimate(frame) for frame in frames(images)]
    wrong = [pose.t_s for pose in read if pose is not None and abs(hips_x(pose) - 640) > 100]
    assert len(wrong) / HZ < 0.3
    # Half a second after the passer-by is clear of the golfer, who is 300 columns wide, the
    # golfer is read again, not only when the passer-by has left the picture.
    clear = next(i for i, x in enumerate(xs) if x < 640 - 300)
    assert None not in read[clear + round(HZ / 2) :]
    assert read.count(None) / HZ < 1.2
    last = estimator.estimate(Frame(t_s=len(xs) / HZ, index=len(xs), image_rgb=still))
    assert hips_x(last) == pytest.approx(640, abs=40)


@pytest.mark.real_pose
def test_the_next_player_is_found_within_half_a_second_of_stepping_in(estimator, golfer_clip):
    still = golfer_clip[0]
    wall = np.repeat(still[:, 440:441], 1280, axis=1)
    first = with_another(wall, still, 420.0)
    second = with_another(wall, still, 860.0)
    poses = [estimator.estimate(frame) for frame in frames([first] * 30 + [second] * 30)]
    after = [pose is not None and abs(hips_x(pose) - 860) < 60 for pose in poses[30:]]
    assert True in after
    assert after.index(True) / HZ <= 0.5
    assert all(after[after.index(True) :])


@pytest.mark.real_pose
def test_the_watch_in_its_own_thread_finds_the_second_person_too(real_model, golfer_clip):
    import time

    estimator = MediapipePose(real_model)
    both = with_another(golfer_clip[0], golfer_clip[0], 1080)
    deadline_s = time.monotonic() + 30.0
    i = 0
    while not estimator.notice() and time.monotonic() < deadline_s:
        estimator.estimate(Frame(t_s=i / HZ, index=i, image_rgb=both))
        i += 1
    assert estimator.notice() == "two people in view: following the one in the middle"
    estimator.close()


@pytest.mark.real_pose
def test_standard_error_stays_clean(real_model, golfer_clip, capfd):
    estimator = MediapipePose(real_model, synchronous=True)
    for frame in frames(golfer_clip[:3]):
        estimator.estimate(frame)
    estimator.close()
    assert capfd.readouterr().err == ""


@pytest.mark.real_pose
def test_a_closed_estimator_says_so_and_closes_twice(real_model, golfer_clip):
    estimator = MediapipePose(real_model)
    estimator.close()
    estimator.close()
    with pytest.raises(PoseError, match="is closed"):
        estimator.estimate(frames(golfer_clip)[0])


@pytest.mark.real_pose
def test_a_picture_that_is_none_is_a_pose_error(estimator):
    bad = np.zeros((48, 64, 3), dtype=np.float64)
    with pytest.raises(PoseError, match="64 x 48"):
        estimator.estimate(Frame(t_s=0.0, index=0, image_rgb=bad))


@pytest.mark.real_pose
def test_the_outline_ends_where_the_true_body_does(estimator, golfer_clip):
    truth = json.loads((resource_dir("demo_data") / "full-turn-right.truth.json").read_text())
    for frame in frames(golfer_clip[:20]):
        pose = estimator.estimate(frame)
    outline, joints = pose.outline, truth["frames"][19]["joints_px"]
    # Both hips and shoulders lie inside, and the silhouette is a person's width there.
    for name in ("left_hip", "right_hip", "left_shoulder", "right_shoulder"):
        x, y = joints[name]
        row = int(np.abs(outline.row_px - y).argmin())
        assert outline.left_px[row] < x < outline.right_px[row]
        assert 60 < outline.right_px[row] - outline.left_px[row] < 320
    above = outline.row_px < joints["head"][1] - 80
    assert np.isnan(outline.left_px[above]).all()


@pytest.mark.real_pose
def test_a_live_estimator_keeps_outline_and_hands_however_long_it_runs(real_model, golfer_clip):
    made = MediapipePose(real_model)
    try:
        for frame in frames(golfer_clip[np.arange(70) % 20, 60:660:2, 440:840:2]):
            pose = made.estimate(frame)
            assert pose is None or pose.outline is not None
    finally:
        made.close()
    assert pose is not None


def mirrored_estimator_of(monkeypatch, real_model):
    """Return an estimator that begins with the mirrored picture."""
    from trainer.adapters import pose as adapter
    from trainer.core.second_look import SecondLook

    made = MediapipePose(real_model, synchronous=True)
    known = adapter._Known

    def begun(**given):
        return known(second=SecondLook(mirrored=True), **given)

    monkeypatch.setattr(adapter, "_Known", begun)
    return made


@pytest.mark.real_pose
def test_the_mirrored_picture_gives_the_same_body_outline_and_all(
    monkeypatch, real_model, golfer_clip, estimator
):
    plain = [estimator.estimate(frame) for frame in frames(golfer_clip[:20])][-1]
    made = mirrored_estimator_of(monkeypatch, real_model)
    try:
        told = [made.estimate(frame) for frame in frames(golfer_clip[:20])][-1]
        assert made._know.second.mirrored
    finally:
        made.close()
    trunk = [11, 12, 23, 24, 25, 26, 27, 28]
    assert told.image_px[trunk] == pytest.approx(plain.image_px[trunk], abs=15)
    assert told.world_m[trunk] == pytest.approx(plain.world_m[trunk], abs=0.1)
    row = int(np.abs(plain.outline.row_px - plain.image_px[23, 1]).argmin())
    for side in ("left_px", "right_px"):
        assert getattr(told.outline, side)[row] == pytest.approx(
            getattr(plain.outline, side)[row], abs=8
        )
