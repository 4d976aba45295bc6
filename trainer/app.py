"""The live mirror: starts and stops the threads, and runs the window's loop.

Three threads: the source's own reads the camera; the pose thread takes the newest picture,
finds the pose, steps the core and sends cues straight to the sounder; the main thread draws the
newest picture and the newest step. The screen never stands between a pose and its cue.
"""

from __future__ import annotations

import queue
import sys
import threading
import time
from collections.abc import Callable
from statistics import median

from trainer.actions import joined
from trainer.core.own_rep import cue_rules, in_use
from trainer.core.records import Cue, Frame, Handed, Rep, Step
from trainer.core.repeat import turn_spread
from trainer.core.rules import Rules
from trainer.core.summary import spread_words, words_for
from trainer.engine import Engine
from trainer.keeping import Keeper
from trainer.model_match import OTHER_MODEL
from trainer.placing import Placing
from trainer.ports import (
    FrameSource,
    KeyAction,
    Look,
    PoseEstimator,
    Screen,
    Sounder,
    SourceState,
    TagSight,
    View,
)
from trainer.recorder import TraceRecorder
from trainer.report.library import Library
from trainer.run_result import RunResult
from trainer.shared import Shared
from trainer.store.keeper import RepKeeper
from trainer.volume import VolumeTest
from trainer.words import KEPT, LOADING_MODEL, NO_SOUND, SOUND_OFF, VOLUME_MUTED

#: How long the caution stands if no key is pressed: hands may be on a club already.
CAUTION_S = 15.0
#: How long the answer to a key stands.
ANSWER_S = 5.0
#: A thread that has been told to stop gets this long.
JOIN_S = 2.0

PanOf = Callable[[Cue, Handed], float]


class LiveMirror:
    """One run of the mirror over one source, from opening it to quitting or its end."""

    def __init__(
        self,
        *,
        source: FrameSource,
        open_estimator: Callable[[], PoseEstimator],
        sounder: Sounder,
        screen: Screen,
        rules: Rules,
        pan_of: PanOf,
        tags: TagSight | None = None,
        recorder: TraceRecorder | None = None,
        keeper: Keeper | None = None,
        rep_keeper: RepKeeper | None = None,
        library: Library | None = None,
        placing: Placing | None = None,
        first_run: bool = False,
        on_step: Callable[[Step, Rules], None] | None = None,
        on_view: Callable[[View, Step], None] | None = None,
        show_caution: bool = False,
        look: Look | None = None,
        wait_for_pose: bool = False,
        reps_before: int = 0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._source = source
        self._open_estimator = open_estimator
        self._sounder = sounder
        self._screen = screen
        self._pan_of = pan_of
        self._tags = tags
        self._recorder = recorder
        self._keeper = keeper
        self._rep_keeper = rep_keeper
        self._library = library
        self._placing = placing
        #: The caller can go through the first run once more, so the key for it ends this one.
        self._first_run, self._first_run_asked = first_run, False
        self._on_step = on_step
        self._on_view = on_view
        self._show_caution = show_caution
        self._look = look or Look()
        #: A clip can wait until the model is loaded, so that none of it is missed.
        self._wait_for_pose = wait_for_pose
        #: Reps of the same session made before another source: the count goes on.
        self._reps_before = reps_before
        self._clock = clock
        self._started_s = clock()
        self._muted = False
        self._volume: VolumeTest | None = None  #: under way
        self._stop = threading.Event()
        self._ended = threading.Event()
        self._actions: queue.SimpleQueue[KeyAction] = queue.SimpleQueue()
        #: Followed by the core, not yet traced: the trace keeps them with the next reading.
        self._followed: list[KeyAction] = []
        self._failure: BaseException | None = None
        self._estimator: PoseEstimator | None = None
        self._shared = Shared(rules=rules)

    def run(self) -> RunResult:
        """Run until the player quits or the source ends.

        Raises what a thread raised: CameraError when the source cannot be opened, PoseError
        when the model fails. Threads, source and model are closed in every case; the screen,
        the sounder and the recorder belong to the caller.
        """
        threads = [
            threading.Thread(target=self._guarded, args=(job,), name=name, daemon=True)
            for name, job in (("load", self._load), ("pose", self._pose_loop))
        ]
        asked = False
        try:
            self._screen.show(self._view())
            if self._opens_on_main():
                self._source.open()
            for thread in threads:
                thread.start()
            asked = self._window_loop()
        finally:
            self._stop.set()
            for thread in threads:
                if thread.ident is not None:
                    thread.join(timeout=JOIN_S)
            self._source.close()
            if self._tags is not None:
                self._tags.close()
            if self._estimator is not None and not any(t.is_alive() for t in threads):
                self._estimator.close()
            if self._keeper is not None:
                self._keep_player(self._keeper)
                self._keeper.flush()
        if self._failure is not None:
            raise self._failure
        shared = self._shared
        return RunResult(
            reps=tuple(shared.reps),
            quit_asked=asked,
            frames=shared.frames,
            dropped=self._source.status().dropped,
            delays_ms=tuple(shared.delays_ms),
            rules=shared.rules,
            first_run_asked=self._first_run_asked,
        )

    def _opens_on_main(self) -> bool:
        """MacOS asks for leave to use a camera on the main thread only."""
        return sys.platform == "darwin" and not self._wait_for_pose

    def _window_loop(self) -> bool:
        """Draw and listen until the end; return whether the player asked to quit."""
        while not self._ended.is_set():
            for action in self._screen.actions():
                if action is KeyAction.QUIT:
                    return True
                if action is KeyAction.FIRST_RUN and self._first_run:
                    self._first_run_asked = True
                    return False
                if self._placing is not None and self._placing.take(action):
                    continue
                if self._library is not None and self._library.take(action, self._clock()):
                    continue
                if action is KeyAction.MUTE:
                    self._muted = not self._muted
                elif action is KeyAction.VOLUME:
                    self._volume = VolumeTest(self._sounder, self._clock())
                else:
                    self._actions.put(action)
            if self._keeper is not None:
                self._keep_player(self._keeper)
            if self._placing is not None:
                self._placing.look(self._shared, self._source)
            self._play_volume()
            self._screen.show(self._view())
        return False

    def _play_volume(self) -> None:
        """Play the volume test's next tone when it is due, and say which it is."""
        if self._volume is None:
            return
        words = VOLUME_MUTED if self._muted else self._volume.go_on(self._clock())
        if words:
            self._shared.answer = words, self._clock()
        if self._muted or self._volume.over:
            self._volume = None

    def _keep_player(self, keeper: Keeper) -> None:
        """Here and not in the pose thread: a slow disk never holds a tone up."""
        shared = self._shared
        keeper.look(
            shared.rules,
            shared.readings,
            self._source.name,
            practised=bool(shared.reps),
            check=shared.check,
        )

    def _guarded(self, job: Callable[[], None]) -> None:
        """Run a thread's job; what it raises is kept for the main thread, and ends the run."""
        try:
            job()
        except BaseException as error:
            if self._failure is None:
                self._failure = error
            self._ended.set()

    def _load(self) -> None:
        estimator = self._open_estimator()
        if self._stop.is_set():
            # The run was over before the model came: nobody else will close it.
            estimator.close()
        else:
            self._estimator = estimator

    def _pose_loop(self) -> None:
        shared = self._shared
        while self._wait_for_pose and self._estimator is None:
            if self._stop.wait(0.01) or self._ended.is_set():
                return
        if not self._opens_on_main():
            self._source.open()
        engine = Engine(shared.rules, reps_before=self._reps_before)
        while not self._stop.is_set() and not self._ended.is_set():
            frame = self._source.get(0.1)
            self._follow_actions(engine)
            if frame is None:
                if self._source.status().state is SourceState.ENDED:
                    break
                continue
            shared.frame = frame
            shared.frames += 1
            if self._estimator is not None:
                self._read(engine, self._estimator, frame)
        rep = engine.finish()
        if rep is not None:
            self._keep(rep, engine.rules)
        self._ended.set()

    def _follow_actions(self, engine: Engine) -> None:
        """Do what the player asked for at once, also while no picture comes."""
        while True:
            try:
                action = self._actions.get_nowait()
            except queue.Empty:
                return
            if engine.act(action):
                self._shared.rules = engine.rules
                self._shared.answer = engine.answer, self._clock()
                self._follow(engine)
                self._followed.append(action)

    def _follow(self, engine: Engine) -> None:
        """Leave the ball line and the rod check for the main thread."""
        shared, before = self._shared, self._shared.rod
        shared.ball_line, shared.rod = engine.ball_line, engine.rod
        shared.practice, shared.check = engine.practice, engine.check
        reading = None if engine.rod is None else engine.rod.reading
        if reading is not None and (before is None or before.reading is None):
            shared.readings = (*shared.readings, reading)

    def _read(self, engine: Engine, estimator: PoseEstimator, frame: Frame) -> None:
        shared = self._shared
        if self._tags is not None:
            self._tags.begin(frame, engine.tag_hints(frame.t_s))
        found = estimator.estimate(frame)
        if self._tags is not None:
            found = self._tags.take(frame, found)
            shared.about_tags = self._tags.notices()
        fed = engine.feed(frame.t_s, found)
        if fed is None:
            return
        pose, step = fed
        shared.rules = engine.rules  # a sign by hand may have changed them
        if engine.answer:
            shared.answer = engine.answer, self._clock()
        if not self._muted:
            for cue in step.told:
                self._sounder.play(cue, pan=self._pan_of(cue, engine.rules.handed))
            for signal in step.signals:
                self._sounder.signal(signal, step.t_s)
        shared.delays_ms.append((self._source.now_s() - frame.t_s) * 1000.0)
        shared.step_times_s.append(self._clock())
        shared.who = estimator.notice()
        shared.step = step
        self._follow(engine)
        if self._rep_keeper is not None:
            self._rep_keeper.follow(step, engine.reference)
        if step.rep is not None:
            self._keep(step.rep, engine.rules)
        if self._recorder is not None:
            self._recorder.put(frame.t_s, pose, step, joined(self._followed))
        self._followed.clear()
        if self._on_step is not None:
            self._on_step(step, engine.rules)
        if self._on_view is not None and (step.cues or step.changes or step.rep):
            self._on_view(self._view(), step)

    def _keep(self, rep: Rep, rules: Rules) -> None:
        self._shared.reps.append(rep)
        self._shared.last_rep = rep
        spread = spread_words(turn_spread(self._shared.reps)) if rep.complete else ""
        verdict = words_for(rep, rules)
        lines = verdict.lines if rep.verdict is None else rep.verdict.lines
        self._shared.last_rep_words = (*lines, spread) if spread else lines
        if self._rep_keeper is not None:
            heard = self._sounder.audible and not self._muted
            self._rep_keeper.keep(rep, rules, verdict, cues_heard=heard)

    def _view(self) -> View:
        shared = self._shared
        status = self._source.status()
        step, frame, rules = shared.step, shared.frame, shared.rules
        answer, said_s = shared.answer
        library, now_s = self._library, self._clock()
        waited_s = now_s - self._started_s
        answer = answer if now_s - said_s < ANSWER_S else ""
        told = shared.practice is None or shared.practice.verdict
        if shared.last_rep is not None and shared.last_rep.verdict is not None:
            told = told and shared.last_rep.verdict.told
        return View(
            image_rgb=None if frame is None else frame.image_rgb,
            step=step,
            handed_left=rules.handed is Handed.LEFT,
            target_deg=cue_rules(rules).target_deg,
            turn_band_deg=rules.cues.turn_band_deg,
            turn_confidence=rules.cues.turn_confidence,
            turn_hysteresis_deg=rules.cues.turn_hysteresis_deg,
            turn_of=rules.cues.turn_of,
            head_tol_cm=rules.cues.head_tol_cm,
            hip_tol_cm=rules.cues.hip_tol_cm,
            hips_strict=rules.cues.hips_strict,
            reps=self._reps_before if step is None else step.reps,
            last_rep=shared.last_rep if told else None,
            last_rep_words=self._last_rep_words() if told else (),
            notices=self._notices(status.text),
            pain=rules.pain,
            muted=self._muted,
            cue_delay_ms=median(shared.delays_ms) if shared.delays_ms else None,
            fps=shared.poses_per_second(),
            dropped=status.dropped,
            caution=self._show_caution and waited_s < CAUTION_S,
            answer=answer if library is None else library.answer(now_s) or answer,
            own=in_use(rules),
            ball_line=shared.ball_line,
            rod=shared.rod,
            practice=shared.practice,
            listed=None if library is None else library.listed,
            guide=None if self._placing is None else self._placing.guide(rules),
            look=self._look,
        )

    def _last_rep_words(self) -> tuple[str, ...]:
        """Return the last verdict, and that its rep is kept once it is on the disk."""
        rep, words, keeper = self._shared.last_rep, self._shared.last_rep_words, self._rep_keeper
        is_kept = rep is not None and keeper is not None and keeper.is_kept(rep)
        return (*words, KEPT) if is_kept else words

    def _notices(self, camera: str) -> tuple[str, ...]:
        shared = self._shared
        found = [camera]
        if self._estimator is None and (shared.frame is not None or self._wait_for_pose):
            found.append(LOADING_MODEL)
        found.append(shared.who)
        found.extend(shared.about_tags)
        if shared.step is not None:
            found.extend(shared.step.notices)
        if shared.rules.se_factor > 1.0:
            found.append(OTHER_MODEL)
        if not self._sounder.audible:
            found.append(NO_SOUND)
        elif self._muted:
            found.append(SOUND_OFF)
        for keeping in (self._recorder, self._keeper, self._rep_keeper):
            if keeping is not None:
                found.append(keeping.trouble)
        return tuple(words for words in found if words)
