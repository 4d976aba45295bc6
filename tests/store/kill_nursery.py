"""Run by the test of kills: begets a writer of reps, kills it at a random moment, and looks.

Usage: kill_nursery.py FILE ROUNDS SEED. Prints one JSON object. Light on purpose: one process that
has loaded everything begets all the others, where the system can fork.
"""

import json
import multiprocessing
import os
import random
import sys
import time
from pathlib import Path

import kept_reps

from trainer.core.rules import Rules
from trainer.core.summary import RepWords
from trainer.store.file import open_store
from trainer.store.gather import FinishedRep
from trainer.store.writer import RepWriter

#: Every third life is killed so long after its begetting at most: before the file is open, while
#: it is made, in the first rep. The others so long after they have called a rep or more kept:
#: a life begins late on a busy machine.
FROM_BIRTH_S, FROM_A_REP_S = 0.15, 0.02
NUMBERS = "SELECT uid, number FROM reps JOIN sessions ON sessions.id = session_id"
#: A life that keeps nothing for so long has hung.
HUNG_S = 60.0


def keep_reps(path, life, answers):
    """Keep one rep after another until killed; write down each number once it is called kept."""
    writer = RepWriter(Path(path))
    of = kept_reps.session(life)
    measured = tuple((kept_reps.measures(10.0 + n / 30.0), None) for n in range(60))
    for number in range(1, 10_000):
        writer.put(
            FinishedRep(
                session=of,
                ended=kept_reps.BEGAN,
                rep=kept_reps.rep(number).rep,
                rules=Rules(),
                verdict=RepWords(good=True, headline="Good rep", details=()),
                reference=None,
                readings=measured,
            )
        )
        while not writer.is_kept(of.uid, number):
            time.sleep(0.0002)
        os.write(answers.fileno(), number.to_bytes(4, "little"))


def told_kept(reader):
    """Return the numbers a life has written down; a pipe keeps them when its writer is killed."""
    raw = b""
    while part := os.read(reader.fileno(), 1 << 16):
        raw += part
    return [int.from_bytes(raw[at : at + 4], "little") for at in range(0, len(raw) // 4 * 4, 4)]


def let_live(life, reader, chance):
    """Go on for a random while, to the moment in which the life is to end; yield what it told."""
    if life % 3 == 0:
        time.sleep(chance.uniform(0.0, FROM_BIRTH_S))
        return
    for _ in range(chance.randint(1, 4)):
        if not reader.poll(HUNG_S):
            raise TimeoutError(f"life {life} kept nothing")
        told = os.read(reader.fileno(), 4)
        yield int.from_bytes(told, "little")
    time.sleep(chance.uniform(0.0, FROM_A_REP_S))


def main(path, rounds, seed):
    chance = random.Random(seed)
    kind = "fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn"
    context = multiprocessing.get_context(kind)
    told, faults = {}, []
    killed = killed_writing = 0
    for life in range(1, rounds + 1):
        reader, answers = context.Pipe(duplex=False)
        child = context.Process(target=keep_reps, args=(path, life, answers), daemon=True)
        child.start()
        answers.close()
        numbers = list(let_live(life, reader, chance))
        child.kill()
        child.join()
        killed += child.exitcode not in (0, 1)
        numbers += told_kept(reader)
        reader.close()
        if numbers:
            told[f"{life:032x}"] = numbers
            killed_writing += 1
        if not Path(path).exists():
            continue
        with open_store(Path(path)) as store:
            state = store.check()
            if state != "ok":
                faults.append(f"after life {life}: {state}")
            # Every rep of every life so far, not of the last alone.
            there = set(map(tuple, store._db.execute(NUMBERS)))
            for uid, promised in told.items():
                missing = [n for n in promised if (uid, n) not in there]
                if missing:
                    faults.append(f"after life {life}: reps {missing} of {uid} are gone")
            for one in store.last_reps(3):
                if len(one.rep.cues) != 2 or store.motion(one).curves.t_s.size != 60:
                    faults.append(f"after life {life}: rep {one.rep.number} is not whole")
    reps = sum(len(numbers) for numbers in told.values())
    result = {"killed": killed, "killed_writing": killed_writing, "reps": reps, "faults": faults}
    json.dump(result, sys.stdout)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
