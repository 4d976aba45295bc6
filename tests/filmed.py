"""Reps that were filmed, for tests: a clip beside the record and what is told of it."""

import numpy as np

from trainer.adapters.rep_clip import small_jpeg, write_clip
from trainer.store.pictures import clip_name, pictures_dir, sha256_of
from trainer.store.records import KeptPictures

SIZE_WH = (64, 48)
TOP_FRAME = 7


def colour(number):
    """Return the colour (red, green, blue) of picture ``number`` of a clip."""
    return (200, 60, 60) if number == TOP_FRAME else (60, 60, 200)


def film(store, session_uid, number, frames=12, top_frame=TOP_FRAME):
    """Put a clip of coloured pictures beside ``store`` for a rep that is in it."""
    jpegs = []
    for picture in range(frames):
        image = np.empty((SIZE_WH[1], SIZE_WH[0], 3), np.uint8)
        image[:] = colour(picture)
        jpegs.append(small_jpeg(image)[0])
    clip = pictures_dir(store.path) / clip_name(session_uid, number)
    write_clip(clip, jpegs, SIZE_WH, 30, 100)
    told = KeptPictures(
        session_uid=session_uid,
        number=number,
        bytes=clip.stat().st_size,
        sha256=sha256_of(clip),
        width_px=SIZE_WH[0],
        height_px=SIZE_WH[1],
        rate_hz=30,
        frames=frames,
        top_frame=top_frame,
    )
    assert store.save_pictures(told)
    return clip, told
