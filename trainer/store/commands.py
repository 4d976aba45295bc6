"""Commands about kept reps: backup, restore, rename, forget, pictures, export, share, import."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trainer.core.counted import counted

if TYPE_CHECKING:
    from trainer.store.care import Held
    from trainer.store.content import Store

Say = Callable[[str], None]


def add_commands(commands: Any, say: Say) -> tuple[argparse.ArgumentParser, ...]:  # noqa: ANN401
    """Add the parsers to ``commands`` (what ``add_subparsers`` gave); return them."""
    backup = commands.add_parser("backup", help="write a copy of every rep that is kept")
    backup.add_argument("file", type=Path, metavar="FILE", help="a new file")
    backup.set_defaults(run=lambda args: _backup(args, say))

    restore = commands.add_parser("restore", help="put a backup in the place of the reps kept now")
    restore.add_argument("file", type=Path, metavar="FILE", help="written by trainer backup")
    restore.set_defaults(run=lambda args: _restore(args, say))

    rename = commands.add_parser("rename", help="give a player and their reps another name")
    rename.add_argument("player", metavar="PLAYER")
    rename.add_argument("new", metavar="NEW")
    rename.add_argument("--join", action="store_true", help="both names are one person's")
    rename.set_defaults(run=lambda args: _rename(args, say))

    forget = commands.add_parser("forget", help="delete all that is kept of a player")
    forget.add_argument("player", metavar="PLAYER")
    forget.add_argument("--yes", action="store_true", help="do not ask")
    forget.set_defaults(run=lambda args: _forget(args, say))

    pictures = commands.add_parser("pictures", help="say what was filmed, or delete it")
    pictures.add_argument("--delete", action="store_true", help="delete clips; the reps stay")
    pictures.add_argument("--player", metavar="NAME", help="of one player (default: of all)")
    pictures.add_argument("--yes", action="store_true", help="do not ask")
    pictures.set_defaults(run=lambda args: _pictures(args, say))

    export = commands.add_parser("export", help="write reps and curves as CSV and JSON")
    export.add_argument("--out", type=Path, required=True, metavar="DIR")
    export.add_argument("--player", metavar="NAME", help="of one player (default: of all)")
    export.set_defaults(run=lambda args: _export(args, say))

    share = commands.add_parser("share", help="write a player's reps into one file for a coach")
    share.add_argument("--player", metavar="NAME", required=True)
    share.add_argument("--out", type=Path, required=True, metavar="FILE.zip")
    share.add_argument(
        "--sessions", type=int, default=-1, metavar="N", help="the N newest (default: all)"
    )
    share.add_argument(
        "--page", type=Path, metavar="FILE.html", help="this page in place of the report"
    )
    share.add_argument(
        "--with-pictures", action="store_true", help="with top pictures in the report, if filmed"
    )
    share.set_defaults(run=lambda args: _share(args, say))

    take = commands.add_parser("import", help="take in a file that trainer share wrote")
    take.add_argument("file", type=Path, metavar="FILE.zip")
    take.add_argument("--player", metavar="NAME", help="file the reps under this name")
    take.set_defaults(run=lambda args: _import(args, say))
    return backup, restore, rename, forget, pictures, export, share, take


def _backup(args: argparse.Namespace, say: Say) -> int:
    from trainer.store.care import backup
    from trainer.store.pictures import clips_in, pictures_dir

    say(f"Written: {args.file}, {_words(backup(args.file))}.")
    clips = len(clips_in(pictures_dir()))
    if clips:
        say(f"No pictures are in it: copy the folder {pictures_dir()} too ({_clips(clips)}).")
    return 0


def _restore(args: argparse.Namespace, say: Say) -> int:
    from trainer.store.care import restore
    from trainer.store.pictures import pictures_dir

    now, before = restore(args.file)
    say(f"Back from {args.file}: {_words(now)}.")
    if before is not None:
        say(f"What was there before is kept as {before}.")
    told, there = _pictures_there()
    if told:
        say(
            f"No pictures are in a backup. Reps that were filmed: {told}; of these the clips of "
            f"{there} lie in {pictures_dir()}."
        )
    return 0


def _rename(args: argparse.Namespace, say: Say) -> int:
    from trainer.errors import StoreError
    from trainer.settings import player_name
    from trainer.store.care import rename

    old, new = player_name(args.player, "PLAYER"), player_name(args.new, "NEW")
    had_record, sessions = rename(old, new, join=args.join)
    if not had_record and not sessions:
        raise StoreError(
            f"nothing is kept of {old}. A player of whom something is was wanted. "
            "Check the name with trainer players."
        )
    what = ["the record"] if had_record else []
    what += [counted(sessions, "session")] if sessions else []
    say(f"{old} is {new} from now on: {' and '.join(what)}.")
    return 0


def _forget(args: argparse.Namespace, say: Say) -> int:
    from trainer.errors import StoreError
    from trainer.settings import player_name
    from trainer.store import care
    from trainer.store.file import open_store, store_path
    from trainer.store.pictures import player_clips

    player = player_name(args.player, "PLAYER")
    records = care.records_of(player)
    reps = sessions = clips = 0
    known: tuple[str, ...] = ()
    if store_path().exists():
        with open_store() as store:
            there, known = care.held(store, player), store.players()
            clips = len(player_clips(store, player))
        reps, sessions = there.reps, there.sessions
    if not records and not sessions:
        raise StoreError(
            f"nothing is kept of {player}. A player of whom something is was wanted: "
            f"{', '.join(known) or 'there is none'}. Check the name."
        )
    what = f"{counted(reps, 'rep')} of {counted(sessions, 'session')}"
    what += f", {_clips(clips)}" if clips else ""
    what += " and the player's own record" if records else ""
    if not args.yes and not _agreed(f"Delete {what} of {player} for good? y or n: "):
        say("Nothing was deleted.")
        return 1
    clean = care.forget(player)
    say(f"Deleted: {what} of {player}.")
    if not clean:
        say("Another program uses the file: the last traces in it go when that one is closed.")
    for copy in care.other_copies():
        say(f"An earlier copy may still hold {player}: {copy}. Delete it by hand.")
    say("Backups, exports and pages elsewhere are yours to delete.")
    return 0


def _pictures(args: argparse.Namespace, say: Say) -> int:
    from trainer.store.file import open_store
    from trainer.store.pictures import (
        clips_in,
        delete_pictures,
        pictures_dir,
        player_clips,
        size_of,
        stray,
    )

    with open_store() as store:
        player = _known(store, args.player)
        folder = pictures_dir(store.path)
        clips = clips_in(folder) if player is None else player_clips(store, player)
        of = "" if player is None else f" of {player}"
        say(f"{_clips(len(clips))}{of}, {size_of(clips) / 1e6:.1f} MB, in {folder}.")
        lost = len(stray(store)) if player is None else 0
        if lost:
            say(f"{lost} of them belong to no rep that is kept.")
        if not args.delete or not clips:
            return 0
        question = f"Delete {_clips(len(clips))}{of} for good? The reps stay. y or n: "
        if not args.yes and not _agreed(question):
            say("Nothing was deleted.")
            return 1
        say(f"Deleted: {_clips(delete_pictures(store, player))}{of}. The reps are kept.")
    say("Reports and shared files made with pictures are yours to delete.")
    return 0


def _pictures_there() -> tuple[int, int]:
    """Return how many reps were filmed, by the record, and of how many the clips are there."""
    from trainer.store.file import open_store
    from trainer.store.pictures import clips_in, pictures_dir, stray

    with open_store() as store:
        told = len(store.pictures_kept())
        clips = clips_in(pictures_dir(store.path))
        return told, len(clips) - len(stray(store))


def _export(args: argparse.Namespace, say: Say) -> int:
    from trainer.store.export import export
    from trainer.store.file import open_store

    with open_store() as store:
        count = export(store, args.out, _known(store, args.player))
    say(f"{counted(count, 'rep')} -> reps.csv, cues.csv, curves.csv, reps.json in {args.out}")
    return 0


def _share(args: argparse.Namespace, say: Say) -> int:
    from trainer.errors import SettingsError
    from trainer.report.write import report_text
    from trainer.store.file import open_store
    from trainer.store.share import read_page, share

    if args.sessions != -1 and args.sessions < 1:
        raise SettingsError(
            f"--sessions is {args.sessions}. One or more of the newest were wanted. "
            "Give --sessions 1, or leave it out for all."
        )
    with open_store() as store:
        player = _known(store, args.player)
        if args.page is not None:
            page = read_page(args.page)
        else:
            most = len(store.sessions(player))
            first = max(most - args.sessions + 1, 1) if args.sessions > 0 else 1
            text = report_text(store, player, f"{first}..{most}", pictures=args.with_pictures)
            page = text.encode("utf-8")
        count = share(store, args.out, player, sessions=args.sessions, page=page)
    say(f"Written: {args.out}, {counted(count, 'rep')} of {player} and a page.")
    return 0


def _import(args: argparse.Namespace, say: Say) -> int:
    from trainer.settings import player_name
    from trainer.store.file import open_store
    from trainer.store.share import read_share, take

    player = None if args.player is None else player_name(args.player, "--player")
    found = read_share(args.file, player)  # before there is a record, if there is none yet
    with open_store(create=True) as store:
        taken = take(store, found)
    here = "" if taken.new == taken.reps else f", {taken.reps - taken.new} were here already"
    say(
        f"{counted(taken.new, 'rep')} of {counted(taken.sessions, 'session')} taken in{here}: "
        f"{', '.join(taken.players)}."
    )
    return 0


def _known(store: Store, player: str | None) -> Any:  # noqa: ANN401 -- as it was given
    """Return ``player``. Raises StoreError for one of whom nothing is kept."""
    from trainer.errors import StoreError
    from trainer.store.content import player_key

    if player is not None and player_key(player) not in map(player_key, store.players()):
        raise StoreError(
            f"nothing is kept of {player}. A player of whom reps are was wanted: "
            f"{', '.join(store.players()) or 'there is none'}. Check the name."
        )
    return player


def _agreed(question: str) -> bool:
    try:
        return input(question).strip().lower() in ("y", "yes")
    except EOFError:
        return False


def _words(held: Held) -> str:
    return (
        f"{counted(held.reps, 'rep')} of {counted(held.sessions, 'session')} "
        f"by {counted(held.players, 'player')}"
    )


def _clips(number: int) -> str:
    return counted(number, "clip of pictures", "clips of pictures")
