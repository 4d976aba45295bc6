"""Run by the test of kills while filming: begets a life that films reps, kills it, and looks.

Usage: film_nursery.py FILE ROUNDS SEED. Prints one JSON object.
"""

import json
import multiprocessing
import random
import sys
import time
from pathlib import Path

import cv2
import kept_reps
import numpy as np

from trainer.core.records import Frame, Rep
from trainer.core.rules import Rules
from trainer.core.summary import RepWords
from trainer.rep_pictures import RepPictures
from trainer.store.file import open_store
from trainer.store.gather import FinishedRep
from trainer.store.pictures import clip_of, clips_in, pictures_dir
from trainer.store.writer import RepWriter

EACH_S = 3.0  # of pictures a rep
#: Killed so long after its first clip is on record, at most.
AFTER_S = 0.3
HUNG_S = 120.0


def film_reps(path, life, answers):
    """Film one rep after another until killed; say so once the first clip is on record."""
    writer = RepWriter(Path(path))
    pictures = RepPictures(writer, on=True)
    of, noise = kept_reps.session(life), np.random.default_rng(life)
    images = noise.integers(0, 256, (8, 48, 64, 3), np.uint8)
    told, number = False, 0
    while True:
        number += 1
        for step in range(int(30 * EACH_S)):
            t_s = EACH_S * number + step / 30.0
            pictures.see(Frame(t_s=t_s, index=step, image_rgb=images[step % 8]))
            time.sleep(0.0005)
        takeaway_s = EACH_S * number + 0.2
        rep = Rep(
            number=number, setup_t_s=takeaway_s, takeaway_t_s=takeaway_s, complete=True,
            top_t_s=takeaway_s + 0.8, top_end_t_s=takeaway_s + 1.0,
        )  # fmt: skip
        writer.put(
            FinishedRep(
                session=of,
                ended=kept_reps.BEGAN,
                rep=rep,
                rules=Rules(),
                verdict=RepWords(good=True, headline="Good rep", details=()),
                reference=None,
                readings=(),
            )
        )
        pictures.keep(rep, of.uid)
        if writer.filmed and not told:
            answers.send("filmed")
            told = True


def faults_in(path):
    """Return what is not as it must be: the record, what it tells of clips, and each clip."""
    found = []
    with open_store(path) as store:
        state = store.check()
        if state != "ok":
            found.append(state)
        told = store.pictures_kept()
        found += [f"clip of {place} is not whole" for place in told if not clip_of(store, *place)]
        reps = {(one.session.uid, one.rep.number) for one in store.all_reps()}
    found += [f"{place} has a clip and no rep" for place in set(told) - reps]
    for clip in clips_in(pictures_dir(path)):
        if cv2.VideoCapture(str(clip)).get(cv2.CAP_PROP_FRAME_COUNT) < 2:
            found.append(f"{clip.name} is no clip")
    return found, len(told)


def main(path, rounds, seed):
    chance = random.Random(seed)
    kind = "fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn"
    context = multiprocessing.get_context(kind)
    faults, killed, filmed = [], 0, 0
    for life in range(1, rounds + 1):
        reader, answers = context.Pipe(duplex=False)
        child = context.Process(target=film_reps, args=(path, life, answers), daemon=True)
        child.start()
        if not reader.poll(HUNG_S):
            raise TimeoutError(f"life {life} filmed nothing")
        time.sleep(chance.uniform(0.0, AFTER_S))
        child.kill()
        child.join()
        killed += child.exitcode not in (0, 1)
        wrong, filmed = faults_in(Path(path))
        faults += [f"after life {life}: {words}" for words in wrong]
    json.dump({"killed": killed, "filmed": filmed, "faults": faults}, sys.stdout)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
