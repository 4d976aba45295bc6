"""Whether a first run is due, and the runs of the mirror between which it may be asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from trainer import kept_camera
from trainer import live as mirror
from trainer import settings as settings_module
from trainer.camera_choice import CameraChoice
from trainer.core.rules import Rules
from trainer.errors import CameraError
from trainer.first_run import Answers, FirstRun, Outcome
from trainer.first_words import REPEAT
from trainer.keeping import Keeper
from trainer.live import Say, Stage
from trainer.placing import Placing
from trainer.players import record_key, record_path
from trainer.ports import FrameSource
from trainer.roster import for_others
from trainer.settings import CameraSettings, Settings
from trainer.shared import RunResult

MakeChoice = Callable[..., CameraChoice]


def is_first(
    settings: Settings,
    keeper: Keeper | None,
    screen: str,
    *,
    asked: bool | None = None,
    settings_file: Path | None = None,
) -> bool:
    """Tell whether the questions are to be asked before the mirror starts.

    ``asked``: True to ask them again, False to pass them over, None as said here.
    They are on the first start only: while there is neither a settings file nor a record of the
    player. Never without a window, and never for a video file, which has no place to be put.
    """
    from trainer.adapters.camera import is_clip

    source = settings.camera.source
    if screen != "window" or (source is not None and is_clip(source)) or asked is False:
        return False
    if asked:
        return True
    if keeper is None or not settings.keep or settings_file is not None:
        return False
    if settings_module.default_path().exists():
        return False
    return not record_path(keeper.record.name).exists()


def run_guided(
    settings: Settings,
    *,
    stage: Stage,
    model: Path | None,
    record: Path | None,
    say: Say,
    keeper: Keeper | None,
    first: bool | None = None,
    settings_file: Path | None = None,
    choice: MakeChoice = CameraChoice,
) -> RunResult:
    """Run the mirror until the player quits, with the first run before it where it is due.

    The key for the first run ends one run of the mirror and begins another, whose reps go on
    counting; each run's trace gets a file of its own. ``first`` as ``asked`` in ``is_first``;
    ``settings_file`` is the one that was named.
    """
    named = settings.camera.source
    settings = _with_kept_camera(settings, say)
    done = RunResult(
        reps=(), quit_asked=True, frames=0, dropped=0, delays_ms=(), rules=settings.rules
    )
    due = is_first(settings, keeper, stage.screen.name, asked=first, settings_file=settings_file)
    others = for_others(settings, settings_module.load(settings_file))
    driver_cm = None if keeper is None else keeper.record.driver_cm
    runs, counted = 1, 0
    while True:
        caution, kept = settings.show_caution, named is None and settings.camera.source is not None
        begun = False
        if due:
            known = Answers(
                camera=settings.camera.source,
                handed=settings.rules.handed,
                stature_cm=settings.rules.stature_cm,
                driver_cm=driver_cm,
            )
            cameras = choice(_opener(settings.camera), named=named, before=settings.camera.source)
            pages = FirstRun(known, cameras, caution=caution, pain=settings.rules.pain)
            outcome = pages.run(stage.screen)
            if outcome.quit_asked:
                return done
            settings, driver_cm = _answered(settings, outcome.answers), outcome.answers.driver_cm
            if not outcome.no_camera:  # else it is asked for at the next start, with a camera
                _keep(outcome, settings, keeper, say, named=named is not None)
            caution, begun = caution and not outcome.cautioned, not outcome.left
            kept = kept and outcome.left
            say(REPEAT)
        placing = Placing(
            driver_cm=driver_cm,
            field_of_view_deg=settings.tags.field_of_view_deg,
            open_now=begun,
            first_run=stage.screen.name == "window",
        )
        try:
            result = mirror.run_live(
                replace(settings, show_caution=caution),
                stage=stage,
                model=model,
                record=_numbered(record, runs),
                say=say,
                keeper=keeper,
                others=others,
                placing=placing,
                reps_before=counted,
                in_pain=frozenset(
                    record_key(one.player) for one in done.sittings if one.rules.pain
                ),
            )
        except CameraError as error:
            if not kept:
                raise
            # The camera of another day is not there: choose again, or take the first there is.
            say(str(error))
            settings = replace(settings, camera=replace(settings.camera, source=None))
            due = stage.screen.name == "window"
            continue
        runs += 1
        done = replace(
            result,
            reps=(*done.reps, *result.reps),
            sittings=(*done.sittings, *result.sittings),
        )
        if not result.first_run_asked:
            return done
        due = True
        now = next(one for one in result.sittings if one.rules is result.rules)
        counted = now.whole_reps + (counted if now is result.sittings[0] else 0)
        if now.keeper is not None and now.keeper is not keeper:  # another player's turn by now
            keeper, driver_cm = now.keeper, now.keeper.record.driver_cm
        settings = replace(settings, rules=_going_on(settings.rules, result.rules))


def _opener(camera: CameraSettings) -> Callable[[str], FrameSource]:
    from trainer.adapters.camera import open_source

    def opened(source: str) -> FrameSource:
        return open_source(source, rotate=camera.rotate, mirrored=camera.mirrored)

    return opened


def _with_kept_camera(settings: Settings, say: Say) -> Settings:
    """Return the settings with the camera that was chosen before, where none is named."""
    if settings.camera.source is not None:
        return settings
    try:
        kept, trouble = kept_camera.load()
    except CameraError as error:
        kept, trouble = None, str(error)
    if trouble:
        say(trouble)
    return replace(settings, camera=replace(settings.camera, source=kept))


def _answered(settings: Settings, answers: Answers) -> Settings:
    rules = replace(
        settings.rules,
        handed=answers.handed or settings.rules.handed,
        stature_cm=answers.stature_cm,
    )
    if rules.handed is not settings.rules.handed:
        rules = replace(rules, own=None)  # the reference is of the other hand
    camera = replace(settings.camera, source=answers.camera)
    return replace(settings, rules=rules, camera=camera)


def _going_on(before: Rules, now: Rules) -> Rules:
    """Return the rules as they stand, less what holds before one camera or model only."""
    of_camera: dict[str, Any] = {
        name: getattr(before, name) for name in ("se_factor", "rod_read_deg", "own_errors")
    }
    return replace(now, **of_camera)


def _keep(
    outcome: Outcome, settings: Settings, keeper: Keeper | None, say: Say, *, named: bool
) -> None:
    """Keep the answers: in the player's record, and the camera for this machine.

    Also when everything was passed over: the questions are then not asked at the next start.
    """
    if keeper is None or not settings.keep:
        return
    answers = outcome.answers
    record = replace(keeper.record, stature_cm=answers.stature_cm, driver_cm=answers.driver_cm)
    if not outcome.left:
        record = replace(record, handed=answers.handed)
    keeper.put(record)
    keeper.flush()
    if answers.camera is not None and not named:
        try:
            kept_camera.save(answers.camera)
        except CameraError as error:
            say(str(error))


def _numbered(record: Path | None, run: int) -> Path | None:
    """Return the trace's file for a run: as named for the first, then with -2, -3, ..."""
    return record if record is None or run == 1 else record.with_stem(f"{record.stem}-{run}")
