"""Errors a person can act on: each says what happened, what was wanted, what to try."""


class TrainerError(Exception):
    """Base of every error this program raises on purpose.

    The message has three parts: what happened, what was wanted, what to try.
    """


class CameraError(TrainerError):
    """A camera, network camera or video file could not be read."""


class PoseError(TrainerError):
    """The pose model could not be fetched, loaded or run."""


class SoundError(TrainerError):
    """A sound device or sound file could not be used."""


class ScreenError(TrainerError):
    """No window could be opened or drawn."""


class SettingsError(TrainerError):
    """An option or a settings file holds something that cannot be used."""


class PlayerError(TrainerError):
    """A player's record could not be read or written."""


class StoreError(TrainerError):
    """The record of reps could not be read or written."""


class BusyStoreError(StoreError):
    """Another program is writing to the record of reps."""


class DamagedStoreError(StoreError):
    """The record of reps is no file of this program's, or not whole any more."""


class PicturesError(TrainerError):
    """The pictures of a rep could not be written or deleted."""


class ShareError(TrainerError):
    """A file of reps from elsewhere is not what this program writes, or cannot be written."""


class ReportError(TrainerError):
    """A report could not be made: the record has nothing to tell of."""


class CompareError(TrainerError):
    """What was to be compared, or was exported of it, cannot be used."""


class SheetError(TrainerError):
    """A sheet for printing could not be made, or what is told of a printed one makes no sense."""


class LensError(TrainerError):
    """A lens could not be calibrated, or what is kept of it not read or written."""


class TraceError(TrainerError):
    """A pose trace is not one, is of another schema, or is damaged."""
