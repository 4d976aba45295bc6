"""What `trainer live` and `trainer demo` put together out of the adapters."""

from __future__ import annotations

import contextlib
import gc
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

from trainer.adapters.picture_memory import PictureMemory
from trainer.app import LiveMirror
from trainer.bay import Bay
from trainer.core.counted import counted
from trainer.core.practice_rules import TurnOf
from trainer.core.records import Handed, Step
from trainer.core.rules import Rules
from trainer.errors import TrainerError
from trainer.estimator_file import shipped
from trainer.keeping import Keeper, open_keeper
from trainer.model_match import rules_for
from trainer.placing import Placing
from trainer.player_compared import with_compared
from trainer.players import DEFAULT_NAME, last_read_deg, record_key
from trainer.ports import PoseEstimator, Screen, Sounder, View
from trainer.recorder import TraceRecorder
from trainer.rep_pictures import RepPictures
from trainer.report.library import Library
from trainer.resources import resource_dir
from trainer.roster import Roster, Turn, for_others
from trainer.settings import Settings, TagSettings, refuse_untold_reps, refuse_untold_turn
from trainer.settings_pictures import PictureSettings
from trainer.shared import RunResult
from trainer.store.keeper import Made, RepKeeper
from trainer.store.records import Kind
from trainer.store.writer import RepWriter
from trainer.tag_setup import open_tags
from trainer.words import player_line, rep_line, step_lines

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """The screen and the sounder of a run, opened once and shared by its clips."""

    screen: Screen
    sounder: Sounder


@contextlib.contextmanager
def open_stage(*, screen: str, sound: str, say: Say, level_db: float = 0.0) -> Iterator[Stage]:
    """Open screen and sound; each that is missing is said in one line."""
    from trainer.adapters.heap import share_heap
    from trainer.adapters.screen import open_screen
    from trainer.adapters.sound import open_sounder

    share_heap()  # before the first thread starts
    sounder: Any = open_sounder(sound, resource_dir("sounds"), level_db)  # type: ignore[arg-type]
    try:
        window = open_screen(screen)  # type: ignore[arg-type]
        try:
            if window.name == "no screen":
                say("No screen here: phases, cues and reps are printed instead.")
            if not sounder.audible:
                say(f"No sound here: {sounder.trouble or 'sound is off'}")
            yield Stage(screen=window, sounder=sounder)
        finally:
            window.close()
    finally:
        sounder.close()


def stage_for(
    settings: Settings, screen: str, say: Say
) -> contextlib.AbstractContextManager[Stage]:
    """Open screen and sound as ``settings`` have them."""
    return open_stage(screen=screen, sound=settings.sound, say=say, level_db=settings.level_db)


def pose_opener(model: Path | None, memory: PictureMemory) -> Callable[[], PoseEstimator]:
    """Return what opens the pose model: called in a thread of its own, so the picture comes first.

    ``memory`` is where the source's pictures lie. The model file is made sure of now, in the
    caller's thread, because fetching it shows a progress bar and may fail.
    """
    from trainer.adapters.model_file import ensure_model

    path = ensure_model(path=model)

    def open_it() -> PoseEstimator:
        from trainer.adapters.pose import MediapipePose

        estimator = MediapipePose(path, trunk=shipped().network, memory=memory)
        # What is loaded by now stays. Left out of later collections, it cannot hold a picture up:
        # one collection of everything takes as long as a picture lasts.
        gc.collect()
        gc.freeze()
        return estimator

    return open_it


def run_live(
    settings: Settings,
    *,
    stage: Stage,
    model: Path | None,
    record: Path | None,
    say: Say,
    keeper: Keeper | None = None,
    others: Settings | None = None,
    placing: Placing | None = None,
    reps_before: int = 0,
    in_pain: frozenset[str] = frozenset(),
) -> RunResult:
    """Run the mirror on the camera until the player quits.

    ``keeper`` keeps the player's record; the reps of that player are kept too, unless the
    settings say that nothing is. ``others``: what holds for players whose turn comes later, by
    default the same but for what is the player's own; their records are put over it.
    With ``placing`` the caller can also go through the first run again; it counts on from
    ``reps_before``, and the players ``in_pain`` stay so.
    """
    from trainer.adapters.camera import open_source
    from trainer.adapters.clips import PacedClip
    from trainer.adapters.tones import pan_of

    refuse_untold_turn(settings.rules, settings.tags)
    refuse_untold_reps(settings)
    camera = settings.camera
    memory = PictureMemory()
    opener = pose_opener(model, memory)
    source = open_source(
        camera.source,
        rotate=camera.rotate,
        mirrored=camera.mirrored,
        recorded_fps=camera.recorded_fps,
        memory=memory,
    )
    rules = _rules(settings.rules, keeper, model, source.name, say)
    tags = open_tags(settings.tags, source.name) if settings.tags.worn else None
    with contextlib.ExitStack() as stack:
        recorder = None
        if tags is not None:
            stack.callback(tags.close)
        if record is not None:
            recorder = TraceRecorder(record, rules, source.name)
            stack.callback(recorder.close)
        bay, first, pictures = Bay(far=settings.far), None, None
        if keeper is not None:
            writer = None
            if settings.keep:
                kept = _reps_kept(settings.pictures, say)
                writer, pictures = stack.enter_context(kept)
            made = Made(
                kind=Kind.LIVE,
                source=source.name,
                model="standard" if model is None else model.name,
                model_fitted=rules.se_factor == 1.0,
            )

            def turn_of(keeper: Keeper, rules: Rules) -> Turn:
                name = keeper.record.name
                rep_keeper = RepKeeper(name, made, writer, pictures=pictures)
                return Turn(player=name, rules=rules, keeper=keeper, rep_keeper=rep_keeper)

            def begin(name: str) -> Turn:
                base = for_others(settings, Settings()) if others is None else others
                theirs, keeper = open_keeper(name, base, read_only=not settings.keep)
                say(player_line(keeper.record.name, theirs.rules))
                rules = _rules(theirs.rules, keeper, model, source.name, say)
                if record_key(name) in in_pain:
                    rules = replace(rules, pain=True)
                return turn_of(keeper, rules)

            first = turn_of(keeper, rules)
            bay = Bay(Roster(first, begin), far=settings.far, pictures=pictures)
        result = LiveMirror(
            source=source,
            open_estimator=opener,
            sounder=stage.sounder,
            screen=stage.screen,
            rules=rules,
            pan_of=pan_of,
            tags=tags,
            recorder=recorder,
            keeper=keeper,
            rep_keeper=None if first is None else first.rep_keeper,
            bay=bay,
            library=None if keeper is None else Library(keeper.record.name),
            placing=placing,
            reps_before=reps_before,
            on_step=_printer(say) if stage.screen.name == "no screen" else None,
            show_caution=settings.show_caution,
            look=settings.look,
            wait_for_pose=isinstance(source, PacedClip),
        ).run()
    if recorder is not None:
        say(recorder.trouble or f"Trace written: {record}")
    return result


def _rules(rules: Rules, keeper: Keeper | None, model: Path | None, camera: str, say: Say) -> Rules:
    """Return ``rules`` for this model, and for this player before this camera."""
    rules = rules_for(rules, model)
    if keeper is None:
        return rules
    rules = replace(rules, rod_read_deg=last_read_deg(keeper.record, camera))
    return with_compared(rules, keeper.record.compared, camera, say)


@contextlib.contextmanager
def _reps_kept(filming: PictureSettings, say: Say) -> Iterator[tuple[RepWriter, RepPictures]]:
    """Write reps down; say where, and at the end how many or what went wrong."""
    writer = RepWriter()
    say(f"Reps are kept in {writer.path} (--no-keep keeps none).")
    pictures = RepPictures(writer, on=filming.on, budget_mb=filming.budget_mb)
    if pictures.on:
        say(f"Reps are filmed, without sound, into {pictures.folder} (I switches it off).")
    try:
        yield writer, pictures
    finally:
        pictures.close()
        writer.close()
        if writer.kept:
            say(f"{counted(writer.kept, 'rep')} kept.")
        if writer.filmed:
            say(f"{writer.filmed} of them with pictures, in {pictures.folder}.")
        if writer.thrown:
            say(
                f"{writer.thrown} of the oldest clips went, to stay within {filming.budget_mb:g} "
                "MB; the reps they were of are kept."
            )
        for trouble in (writer.trouble, pictures.trouble):
            if trouble:
                say(trouble)


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoClip:
    """One clip of the demo session."""

    path: Path
    handed: Handed
    stature_cm: float
    what: str
    tags: TagSettings | None = None  #: None: its player wears none


def demo_clips() -> tuple[DemoClip, ...]:
    """Return the clips of the demo session, in order. Raises TrainerError for a damaged list."""
    listed = resource_dir("demo_data") / "session.toml"
    try:
        values = tomllib.loads(listed.read_text(encoding="utf-8"))
        return tuple(
            DemoClip(
                path=listed.with_name(clip["file"]),
                handed=Handed(clip["handed"]),
                stature_cm=float(clip["stature_cm"]),
                what=clip["what"],
                tags=_tags_of(clip),
            )
            for clip in values["clip"]
        )
    except (OSError, KeyError, TypeError, ValueError) as error:
        raise TrainerError(
            f"{listed} that comes with the program could not be used ({error}). Its list of demo "
            "clips was wanted. Reinstall the program."
        ) from None


def _tags_of(clip: Mapping[str, Any]) -> TagSettings | None:
    """Return the tags worn in a clip of the list; None without ``tag_size_mm``."""
    if "tag_size_mm" not in clip:
        return None
    return TagSettings(
        worn=True,
        size_mm=float(clip["tag_size_mm"]),
        field_of_view_deg=float(clip["field_of_view_deg"]),
    )


def run_demo(
    settings: Settings, *, stage: Stage, model: Path | None, save: Path | None, say: Say
) -> int:
    """Play the demo session as if its clips were a camera; return how many reps were seen.

    With ``save`` the screen at each move, cue and rep is written as a picture, and what was
    heard as a sound file, one set a clip.
    """
    from trainer.adapters.camera import open_source
    from trainer.adapters.cue_track import RecordingSounder
    from trainer.adapters.tones import pan_of

    refuse_untold_reps(settings)
    memory = PictureMemory()
    opener = pose_opener(model, memory)
    matched = rules_for(settings.rules, model)
    reps, pain = 0, matched.pain
    # The demo keeps nothing, but its keys show what practice has left.
    library = Library(settings.player or DEFAULT_NAME)
    bay = Bay(far=settings.far)
    for number, clip in enumerate(demo_clips(), start=1):
        say(f"Clip {number}: {clip.what}")
        # Most of the clips' players wear no tags, so the target is about what is told of all.
        cues = replace(matched.cues, turn_of=TurnOf.SHOULDERS)
        rules = replace(
            matched, handed=clip.handed, stature_cm=clip.stature_cm, pain=pain, cues=cues
        )
        source = open_source(str(clip.path), memory=memory)
        tags = None if clip.tags is None else open_tags(clip.tags, source.name)
        sounder = RecordingSounder(stage.sounder)
        shots: list[tuple[View, Step]] = []
        mirror = LiveMirror(
            source=source,
            open_estimator=opener,
            sounder=sounder,
            screen=stage.screen,
            rules=rules,
            pan_of=pan_of,
            on_step=_printer(say),
            tags=tags,
            wait_for_pose=True,
            reps_before=reps,
            library=library,
            bay=bay,
            placing=Placing(
                field_of_view_deg=None if clip.tags is None else clip.tags.field_of_view_deg
            ),
            look=settings.look,
            on_view=None if save is None else _collector(shots),
        )
        try:
            result = mirror.run()
        finally:
            if tags is not None:
                tags.close()
        pain = result.rules.pain  # once marked it holds for the whole session
        reps += sum(rep.complete for rep in result.reps)
        for rep in result.reps:
            if not rep.complete:
                say(rep_line(rep, result.rules))
        if save is not None:
            _save(save, clip.path.stem, shots, sounder, say)
        if result.quit_asked:
            break
    return reps


def _collector(shots: list[tuple[View, Step]]) -> Callable[[View, Step], None]:
    return lambda view, step: shots.append((view, step))


def _printer(say: Say) -> Callable[[Step, Rules], None]:
    seen: set[str] = set()

    def on_step(step: Step, rules: Rules) -> None:
        for line in step_lines(step, rules, seen_notices=seen):
            say(line)

    return on_step


def _save(
    folder: Path,
    stem: str,
    shots: list[tuple[View, Step]],
    sounder: Any,  # noqa: ANN401 -- a RecordingSounder; its module is loaded late
    say: Say,
) -> None:
    from trainer.adapters.cue_track import render_track, write_wav
    from trainer.adapters.screen import save_png

    try:
        folder.mkdir(parents=True, exist_ok=True)
        end_s = 0.0
        for row, (view, step) in enumerate(shots, start=1):
            what = "rep" if step.rep else step.cues[0].kind.value if step.cues else step.phase.value
            save_png(view, folder / f"{stem}-{row:02d}-{what}.png")
            end_s = step.t_s
        track = render_track(sounder.events, end_s + 2.0, resource_dir("sounds"))
        write_wav(folder / f"{stem}.wav", track)
    except OSError as error:
        raise TrainerError(
            f"pictures and sound could not be saved in {folder} ({error.strerror or error}). "
            "A folder that can be written, on a disk with space, was wanted. "
            "Give another one to --save."
        ) from None
    say(f"Saved {len(shots)} pictures and the sound of {stem} in {folder}.")
