"""Makes a report and puts it into a file, whole or not at all."""

from __future__ import annotations

import contextlib
import datetime
import os
import webbrowser
from pathlib import Path

from trainer.errors import ReportError
from trainer.report.chosen import gather
from trainer.report.html import text_of
from trainer.report.page import page_of
from trainer.store.file import Store, open_store


def report_text(
    store: Store,
    player: str,
    wanted: str = "last",
    *,
    against: str | None = None,
    made: datetime.datetime | None = None,
) -> str:
    """Return the page about ``player`` as the text of one HTML document.

    ``wanted`` and ``against`` as for ``chosen.gather``. Raises ReportError and StoreError.
    """
    made = datetime.datetime.now().astimezone() if made is None else made
    return text_of(page_of(gather(store, player, wanted, against), made))


def write_report(
    out: Path, player: str, wanted: str = "last", *, against: str | None = None
) -> Path:
    """Write the page about ``player``, from the user's own record; return where it lies.

    Raises ReportError when there is nothing to tell of or the file cannot be written, StoreError
    when the record cannot be read.
    """
    with open_store() as store:
        text = report_text(store, player, wanted, against=against)
    half = out.with_name(f".{out.name}.{os.getpid()}.part")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        half.write_text(text, encoding="utf-8", newline="\n")
        os.replace(half, out)
    except OSError as error:
        raise ReportError(
            f"{out} could not be written ({error.strerror or error}). A place that can be written "
            "was wanted. Close the file where it is open, or give another --out."
        ) from None
    finally:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)
    return out.absolute()


def show(path: Path) -> bool:
    """Open the page in the user's browser; return False where none could be opened."""
    try:
        return webbrowser.open(path.as_uri())
    except webbrowser.Error:
        return False
