"""``python -m trainer.bench``: how fast the mirror is, against the bare loop in the same run.

Prints one table of goals and results. What each row means is in docs/performance.md.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median

from trainer import bench_clips, bench_store
from trainer import bench_runs as runs
from trainer.bench_pages import page_ms
from trainer.bench_report import report_s
from trainer.bench_tags import tag_ms
from trainer.core.practice_rules import PracticeKind

#: Memory is compared from here on: by then the model is loaded and every page has been drawn.
SETTLED_S = 30.0
#: Growth that still counts as flat: a hundredth of the limit, an hour would show more.
FLAT_MB = 5.0
MOST_MB = 350.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the table."""

    what: str
    goal: str
    result: str
    met: bool | None  #: None: there is no goal, or it could not be judged


def main(argv: Sequence[str] | None = None) -> int:
    """Run the benchmark and print its table; exit code 1 when a goal was missed."""
    args = _parser().parse_args(argv)
    runs.unseen_screen()
    if args.child is not None:
        return _child(args)
    from trainer.adapters.model_file import ensure_model
    from trainer.live import demo_clips

    model = ensure_model(path=args.model)
    clip = args.clip if args.clip is not None else demo_clips()[0].path
    print(f"{_machine()}; clip {clip.name}", flush=True)
    rows: list[Row] = []
    rounds, frames = (1, 45) if args.quick else (3, 450)
    seconds = 3.0 if args.quick else max(60.0, args.minutes * 60)
    rows.extend(_throughput(clip, model, rounds, frames, quick=args.quick))
    rows.extend(_live(clip, model, seconds))
    rows.extend(_kinds(clip, model, 1.0 if args.quick else 30.0))
    rows.extend(_filmed(clip, model, seconds))
    rows.append(_pages(2 if args.quick else 20))
    rows.extend(_tags(clip, model, seconds, rounds=2 if args.quick else 20))
    rows.append(_start(clip, model, 1 if args.quick else 5))
    rows.extend(_store(1_000 if args.quick else 200_000))
    rows.append(_report(quick=args.quick))
    print("\n| what | goal | result | met |\n|---|---|---|---|")
    for row in rows:
        met = "" if row.met is None else "yes" if row.met else "NO"
        print(f"| {row.what} | {row.goal} | {row.result} | {met} |")
    return 1 if any(row.met is False for row in rows) and not args.quick else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m trainer.bench", description=__doc__)
    parser.add_argument(
        "--minutes", type=float, default=1.0, help="length of the live run (10 for memory)"
    )
    parser.add_argument(
        "--quick", action="store_true", help="see that it runs; figures mean little"
    )
    parser.add_argument("--clip", type=Path, metavar="CLIP", help="default: the first demo clip")
    parser.add_argument("--model", type=Path, metavar="FILE")
    parser.add_argument("--child", choices=("live", "start"), help=argparse.SUPPRESS)
    parser.add_argument("--frames", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--kind", default="free", help=argparse.SUPPRESS)
    parser.add_argument("--tags", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument("--film-in", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--camera", help=argparse.SUPPRESS)
    return parser


def _store(reps: int) -> list[Row]:
    """Time what keeping a rep takes in its own thread, and listing the newest of many."""
    worked, saved = bench_store.save_ms(20 if reps < 200_000 else 200)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "reps.sqlite"
        print(f"filling a store with {reps} reps", file=sys.stderr, flush=True)
        bench_store.fill(path, reps)
        size_mb = path.stat().st_size / 1e6
        listed = bench_store.list_ms(path, 11), bench_store.list_ms(path, 11, "player 3")
    return [
        Row(
            what="keeping a rep, in the thread that writes: working out, then to the disk",
            goal="",
            result=f"{median(worked):.1f} ms, {median(saved):.1f} ms (longest {max(saved):.0f} ms)",
            met=None,
        ),
        Row(
            what=f"opening a store of {reps:,} reps and listing the newest 50: of all, of a player",
            goal="≤ 100 ms",
            result=f"{listed[0]:.0f} ms, {listed[1]:.0f} ms ({size_mb:.0f} MB)",
            met=max(listed) <= 100.0,
        ),
    ]


def _machine() -> str:
    load = f", load {os.getloadavg()[0]:.1f} before" if hasattr(os, "getloadavg") else ""
    return (
        f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores{load}, "
        f"Python {platform.python_version()}"
    )


def _throughput(clip: Path, model: Path, rounds: int, frames: int, *, quick: bool) -> list[Row]:
    """Time bare loop, live loop and measuring in turns, so that all see the same machine."""
    bare, live, kept, filmed, one, two = [], [], [], [], [], []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        clips = [folder / f"clip-{number}.mp4" for number in range(2 if quick else 4)]
        for copy in clips:
            if quick:
                bench_clips.short_copy(clip, copy, 40)
            else:
                shutil.copy(clip, copy)
        for number in range(rounds):
            print(f"round {number + 1} of {rounds}", file=sys.stderr, flush=True)
            bare.append(runs.bare_fps(clip, model, frames))
            live.append(runs.live_run(clip, model, frames=frames, paced=False).fps)
            keep_in = folder / f"reps-{number}.sqlite"
            keeping = runs.live_run(clip, model, frames=frames, paced=False, keep_in=keep_in)
            kept.append(keeping.fps)
            keep_in = folder / f"filmed-{number}.sqlite"
            filming = runs.live_run(
                clip, model, frames=frames, paced=False, keep_in=keep_in, film=True
            )
            filmed.append(filming.fps)
            one.append(runs.measure_fps(clips, model, folder / "out", jobs=1))
            two.append(runs.measure_fps(clips, model, folder / "out", jobs=2))
    rows = [
        Row(
            what="bare loop: read, convert, detect",
            goal="",
            result=f"{median(bare):.1f} pictures/s ({1000 / median(bare):.1f} ms each)",
            met=None,
        )
    ]
    for what, goal, fps, other in (
        ("live loop with drawing ÷ bare loop", 0.9, live, bare),
        ("live loop that keeps its reps ÷ one that does not", 0.97, kept, live),
        ("live loop that films its reps too ÷ one that keeps them", None, filmed, kept),
        ("`trainer measure` ÷ bare loop, 1 job", None, one, bare),
        ("`trainer measure` ÷ bare loop, 2 jobs", None, two, bare),
        ("`trainer measure`, 2 jobs ÷ 1 job", 1.8, two, one),
    ):
        ratios = sorted(ours / its for ours, its in zip(fps, other, strict=True))
        rows.append(
            Row(
                what=what,
                goal="" if goal is None else f"≥ {goal:.2f}",
                result=f"{median(ratios):.2f} ({ratios[0]:.2f} to {ratios[-1]:.2f})",
                met=None if goal is None else median(ratios) >= goal,
            )
        )
    return rows


def _live(clip: Path, model: Path, seconds: float) -> list[Row]:
    """Run the mirror at a camera's pace in a process of its own."""
    print(f"live run of {seconds:.0f} s", file=sys.stderr, flush=True)
    frames = str(round(seconds * runs.CAMERA_HZ))
    with tempfile.TemporaryDirectory() as name:
        camera = Path(name) / "camera.avi"
        bench_clips.as_webcam(clip, camera)
        text = _run_child("live", camera, model, "--frames", frames)
    told = json.loads(text)
    names = ("own_ms", "own_cpu_ms", "looks_ms", "delay_ms")
    own, cpu, looks, delay = (sorted(told[name]) for name in names)
    minute = [count for since_s, count in told["dropped"] if since_s <= 61.0][-1]
    length_s, everything = told["dropped"][-1]
    sound = "" if told["audible"] else ", no sound device"
    rows = [
        Row(
            what="own cost a picture beyond the networks' calls, median",
            goal="≤ 1.0 ms",
            result=f"{_typical(own)}, of the processor's time {_typical(cpu)}{sound}",
            met=median(own) <= 1.0,
        ),
        Row(
            what="trunk's picture and the motion round the hands read, median",
            goal="≤ 3.0 ms",
            result=_typical(looks),
            met=median(looks) <= 3.0,
        ),
        Row(
            what="picture stamp to cue decided, median and 95 %",
            goal="≤ 50 ms at 95 %",
            result=f"{median(delay):.0f} ms, {_share(delay, 0.95):.0f} ms",
            met=_share(delay, 0.95) <= 50.0,
        ),
        Row(
            what=f"dropped at 30 pictures/s in the first {min(length_s, 60):.0f} s",
            goal="0",
            result=f"{minute} (whole run of {length_s:.0f} s: {everything} of {frames})",
            met=minute == 0,
        ),
    ]
    return [*rows, _memory(told["rss_mb"])]


def _kinds(clip: Path, model: Path, seconds: float) -> list[Row]:
    """Run the mirror once more in each kind of practice, a short while each."""
    rows = []
    frames = str(round(seconds * runs.CAMERA_HZ))
    with tempfile.TemporaryDirectory() as name:
        camera = Path(name) / "camera.avi"
        bench_clips.as_webcam(clip, camera)
        for kind in PracticeKind:
            print(f"live run of {seconds:.0f} s: {kind.value}", file=sys.stderr, flush=True)
            text = _run_child("live", camera, model, "--frames", frames, "--kind", kind.value)
            own = sorted(json.loads(text)["own_ms"])
            rows.append(
                Row(
                    what=f"own cost a picture, practice {kind.value}, median",
                    goal="≤ 1.0 ms",
                    result=_typical(own),
                    met=median(own) <= 1.0,
                )
            )
    return rows


def _pages(rounds: int) -> Row:
    """Draw every page of the window after the mirror."""
    print("pages", file=sys.stderr, flush=True)
    taken = page_ms((1920, 1080), rounds)
    slowest = max(taken, key=lambda name: taken[name][0])
    first = taken[slowest][0]
    again = median(typical for _, typical in taken.values())
    return Row(
        what=f"change of page, slowest of {len(taken)} at 1920 by 1080, drawn for the first time",
        goal="≤ 100 ms",
        result=f"{first:.0f} ms ({slowest}; drawn again, median page: {again:.1f} ms)",
        met=first <= 100.0,
    )


def _tags(clip: Path, model: Path, seconds: float, *, rounds: int) -> list[Row]:
    """Time the looking for tags, and the cue's way while they are looked for in every picture."""
    print("tags", file=sys.stderr, flush=True)
    rows = []
    for size_wh, most_ms in (((1280, 720), 3.0), ((1920, 1080), 6.0)):
        typical, worst, seen = tag_ms(size_wh, rounds=rounds)
        rows.append(
            Row(
                what=f"looking for tags in a picture of {size_wh[0]} by {size_wh[1]}, five worn",
                goal=f"≤ {most_ms:.0f} ms",
                result=f"{typical:.1f} ms (worst {worst:.1f} ms, {seen:.1f} tags seen)",
                met=typical <= most_ms,
            )
        )
    frames = str(round(min(seconds, 20.0) * runs.CAMERA_HZ))
    with tempfile.TemporaryDirectory() as name:
        camera = Path(name) / "camera.avi"
        bench_clips.as_webcam(clip, camera)
        told = json.loads(_run_child("live", camera, model, "--frames", frames, "--tags"))
    delay = sorted(told["delay_ms"])
    return [
        *rows,
        Row(
            what="picture stamp to cue decided while tags are looked for, median and 95 %",
            goal="≤ 50 ms at 95 %",
            result=f"{median(delay):.0f} ms, {_share(delay, 0.95):.0f} ms",
            met=_share(delay, 0.95) <= 50.0,
        ),
    ]


def _filmed(clip: Path, model: Path, seconds: float) -> list[Row]:
    """Time the cue's way while reps are filmed, at a camera's pace."""
    print("filming", file=sys.stderr, flush=True)
    frames = str(round(min(seconds, 20.0) * runs.CAMERA_HZ))
    with tempfile.TemporaryDirectory() as name:
        camera, store = Path(name) / "camera.avi", Path(name) / "reps.sqlite"
        bench_clips.as_webcam(clip, camera)
        text = _run_child("live", camera, model, "--frames", frames, "--film-in", str(store))
    told = json.loads(text)
    own, delay = sorted(told["own_ms"]), sorted(told["delay_ms"])
    return [
        Row(
            what="picture stamp to cue decided while reps are filmed, median and 95 %",
            goal="≤ 50 ms at 95 %",
            result=f"{median(delay):.0f} ms, {_share(delay, 0.95):.0f} ms; own cost "
            f"{median(own):.2f} ms; {told['dropped'][-1][1]} of {frames} dropped, "
            f"{max(mb for _, mb in told['rss_mb']):.0f} MB at most",
            met=_share(delay, 0.95) <= 50.0,
        )
    ]


def _memory(readings: list[list[float]]) -> Row:
    what, goal = "memory of the live mirror", f"flat, ≤ {MOST_MB:.0f} MB"
    if any(mb != mb for _, mb in readings):
        return Row(what=what, goal=goal, result="not measured on this system", met=None)
    settled = [(since_s, mb) for since_s, mb in readings if since_s >= SETTLED_S]
    most = max(mb for _, mb in readings)
    if len(settled) < 2:
        return Row(what=what, goal=goal, result=f"{most:.0f} MB at most; run too short", met=None)
    (from_s, first), (to_s, last) = settled[0], settled[-1]
    return Row(
        what=what,
        goal=goal,
        result=f"{first:.0f} MB after {from_s:.0f} s, {last:.0f} MB after {to_s:.0f} s, "
        f"{most:.0f} MB at most",
        met=most <= MOST_MB and last - first <= FLAT_MB,
    )


def _start(clip: Path, model: Path, times: int) -> Row:
    """Start the mirror afresh and wait for its first picture."""
    print(f"{times} starts", file=sys.stderr, flush=True)
    taken = []
    with runs.clip_as_camera(clip) as camera:
        for _ in range(times):
            begun_s = time.monotonic()
            shown_s = json.loads(_run_child("start", clip, model, "--camera", camera))
            taken.append(shown_s - begun_s)
    return _longest("start of the process to first mirrored picture", taken, 2.0)


def _longest(what: str, taken: list[float], most_s: float) -> Row:
    result = f"{median(taken):.2f} s (longest of {len(taken)}: {max(taken):.2f} s)"
    return Row(what=what, goal=f"≤ {most_s:.1f} s", result=result, met=median(taken) <= most_s)


def _report(*, quick: bool) -> Row:
    """Make the page about many reps."""
    reps, times = (50, 1) if quick else (2000, 3)
    print(f"{times} reports over {reps} reps", file=sys.stderr, flush=True)
    what = f"`trainer report` over {reps} reps, from its start to the page written"
    return _longest(what, report_s(reps, times), 3.0)


def _share(ordered: list[float], share: float) -> float:
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def _typical(ordered: list[float]) -> str:
    return f"{median(ordered):.2f} ms (95 %: {_share(ordered, 0.95):.2f} ms)"


def _run_child(child: str, clip: Path, model: Path, *more: str) -> str:
    command = [sys.executable, "-m", "trainer.bench", "--child", child]
    command += ["--clip", str(clip), "--model", str(model), *more]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True)
    return done.stdout.splitlines()[-1]


def _child(args: argparse.Namespace) -> int:
    """Do one run in this process and print what it took as one line of JSON."""
    if args.child == "start":
        print(json.dumps(runs.first_picture_s(args.camera, args.model)))
    else:
        print(
            json.dumps(
                asdict(
                    runs.live_run(
                        args.clip,
                        args.model,
                        frames=args.frames,
                        paced=True,
                        kind=args.kind,
                        tags=args.tags,
                        keep_in=args.film_in,
                        film=args.film_in is not None,
                    )
                )
            )
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
