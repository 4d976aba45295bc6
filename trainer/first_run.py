"""The first run: which camera, which hand, how tall, how long a driver, and the caution."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from trainer import first_words as words
from trainer.camera_choice import CameraChoice
from trainer.caution import CAUTION_LINES, CAUTION_TITLE
from trainer.core.records import Handed
from trainer.errors import SettingsError
from trainer.lengths import feet_words, length_cm
from trainer.ports import Guide, GuidePage, KeyAction, Screen, View

_HANDS: Final = tuple(Handed)
MOST_TYPED: Final = 16  #: letters of a length


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """What the player said; None where nothing was said."""

    camera: str | None = None
    handed: Handed | None = None
    stature_cm: float | None = None
    driver_cm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """How a first run ended."""

    answers: Answers
    cautioned: bool  #: the caution was shown
    left: bool  #: the rest was passed over ...
    no_camera: bool = False  #: ... because there was no camera to begin with
    quit_asked: bool


class FirstRun:
    """Goes through the pages. Used from the main thread, before the mirror has the camera."""

    def __init__(
        self, known: Answers, cameras: CameraChoice, *, caution: bool = True, pain: bool = False
    ) -> None:
        """Begin with what is ``known``: each page shows it, and Enter leaves it as it is.

        ``pain``: it was marked before in this session.
        """
        self._cameras, self._pain = cameras, pain
        pages = [page for page in GuidePage if page is not GuidePage.PLACEMENT]
        self._pages = [page for page in pages if caution or page is not GuidePage.CAUTION]
        self._at = 0
        self._answers = known
        self._hand = _HANDS.index(known.handed or Handed.RIGHT)
        self._entry = ""
        self._trouble = ""
        self._cautioned = False
        self._left = self._quit = self._done = False

    def run(self, screen: Screen) -> Outcome:
        """Show the pages until they are answered, passed over, or the player quits."""
        self._cameras.begin()
        try:
            while not (self._done or self._left or self._quit):
                self._cameras.look()
                screen.show(self.view())
                actions = screen.actions()
                self.type(screen.typed())
                for action in actions:
                    self.take(action)
        finally:
            self._cameras.close()
        return Outcome(
            answers=self._answers,
            cautioned=self._cautioned,
            left=self._left,
            no_camera=self.page is GuidePage.CAMERA and bool(self._cameras.trouble),
            quit_asked=self._quit,
        )

    @property
    def page(self) -> GuidePage:
        """The page shown now."""
        return self._pages[self._at]

    def type(self, text: str) -> None:
        """Take in what was typed."""
        if self.page not in (GuidePage.STATURE, GuidePage.DRIVER):
            return
        for letter in text:
            self._entry = self._entry[:-1] if letter == "\b" else self._entry + letter
        self._entry = self._entry[:MOST_TYPED]
        if text:
            self._trouble = ""

    def take(self, action: KeyAction) -> None:
        """Do what ``action`` asks for."""
        if action is KeyAction.QUIT:
            self._quit = True
        elif action is KeyAction.GUIDE_LEAVE:
            self._left = True
        elif action is KeyAction.GUIDE_BACK and self._at > 0:
            self._turn_to(self._at - 1)
        elif action in (KeyAction.GUIDE_NEXT, KeyAction.GUIDE_PREVIOUS):
            self._choose(1 if action is KeyAction.GUIDE_NEXT else -1)
        elif action is KeyAction.GUIDE_ON and self._accept():
            if self._at + 1 < len(self._pages):
                self._turn_to(self._at + 1)
            else:
                self._done = True

    def _turn_to(self, at: int) -> None:
        self._at, self._trouble = at, ""
        known = {
            GuidePage.STATURE: self._answers.stature_cm,
            GuidePage.DRIVER: self._answers.driver_cm,
        }.get(self.page)
        self._entry = "" if known is None else f"{known:g}"
        if self.page is GuidePage.CAUTION:
            self._cautioned = True

    def _choose(self, step: int) -> None:
        if self.page is GuidePage.CAMERA:
            self._cameras.choose(step)
        elif self.page is GuidePage.HAND:
            self._hand = (self._hand + step) % len(_HANDS)

    def _accept(self) -> bool:
        """Take what the page shows as the answer; return False where it cannot be one."""
        page, answers = self.page, self._answers
        if page is GuidePage.CAMERA:
            if self._cameras.source is None:
                if self._cameras.trouble:
                    self._cameras.begin()
                return False
            self._answers = replace(answers, camera=self._cameras.source)
        elif page is GuidePage.HAND:
            self._answers = replace(answers, handed=_HANDS[self._hand])
        elif page in (GuidePage.STATURE, GuidePage.DRIVER):
            name = "stature_cm" if page is GuidePage.STATURE else "driver_cm"
            try:
                value = self._length(name)
            except SettingsError as error:
                self._trouble = str(error)
                return False
            if page is GuidePage.STATURE:
                self._answers = replace(answers, stature_cm=value)
            else:
                self._answers = replace(answers, driver_cm=value)
        return True

    def _length(self, name: str) -> float | None:
        """Return what was typed, in centimetres; None for nothing. Raises SettingsError."""
        if not self._entry.strip():
            return None
        what = "Your height" if name == "stature_cm" else "The driver's length"
        return length_cm(name, self._entry, what)

    def view(self) -> View:
        """Return what the screen is to show now."""
        picture = self._cameras.image_rgb if self.page is GuidePage.CAMERA else None
        return View(
            image_rgb=picture,
            step=None,
            handed_left=_HANDS[self._hand] is Handed.LEFT,
            target_deg=0.0,
            turn_band_deg=0.0,
            head_tol_cm=0.0,
            hip_tol_cm=0.0,
            reps=0,
            last_rep=None,
            last_rep_words=(),
            notices=(),
            pain=self._pain,
            muted=False,
            cue_delay_ms=None,
            fps=None,
            dropped=0,
            caution=False,
            guide=self.guide(),
        )

    def guide(self) -> Guide:
        """Return the page to be shown now."""
        page = self.page
        made = Guide(
            page=page,
            title=words.TITLES.get(page, ""),
            lines=words.LINES.get(page, ()),
            trouble=self._trouble,
            foot=words.ENTRY_FOOT,
            number=self._at + 1,
            count=len(self._pages) + 1,  # the placement page comes last, over the mirror
        )
        if page is GuidePage.CAMERA:
            return self._camera_page(made)
        if page is GuidePage.HAND:
            choices = tuple(words.HANDS[hand] for hand in _HANDS)
            return replace(made, choices=choices, chosen=self._hand, foot=words.CHOICE_FOOT)
        if page is GuidePage.CAUTION:
            return replace(made, title=CAUTION_TITLE, lines=CAUTION_LINES)
        return replace(made, entry=self._entry, lines=(*made.lines, *self._echo()))

    def _echo(self) -> tuple[str, ...]:
        """Return the stature as it is understood, in both units; nothing while it is not."""
        if self.page is not GuidePage.STATURE:
            return ()
        try:
            value = self._length("stature_cm")
        except SettingsError:
            return ()
        return () if value is None else (f"{value:g} cm, {feet_words(value)}",)

    def _camera_page(self, made: Guide) -> Guide:
        cameras = self._cameras
        if cameras.trouble:
            title = words.NO_CAMERA if not cameras.names else words.WHICH_CAMERA
            foot = words.NONE_FOOT if len(cameras.names) < 2 else words.CAMERAS_FOOT
        elif not cameras.searched:
            title, foot = words.LOOKING, words.WAIT_FOOT
        elif cameras.image_rgb is None:
            title, foot = words.OPENING, words.WAIT_FOOT
        elif len(cameras.names) == 1:
            title, foot = words.ONE_CAMERA, words.CAMERA_FOOT
        else:
            title, foot = words.WHICH_CAMERA, words.CAMERAS_FOOT
        return replace(
            made,
            title=title,
            choices=cameras.names,
            chosen=cameras.chosen,
            trouble=cameras.trouble,
            foot=foot,
        )
