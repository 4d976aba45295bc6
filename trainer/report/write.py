"""Makes a report and puts it into a file, whole or not at all."""

from __future__ import annotations

import datetime
import webbrowser
from pathlib import Path

from trainer.report.chosen import gather
from trainer.report.html import text_of
from trainer.report.page import page_of
from trainer.store.content import Store
from trainer.store.file import open_store
from trainer.store.written import whole_text


def report_text(
    store: Store,
    player: str,
    wanted: str = "last",
    *,
    against: str | None = None,
    pictures: bool = True,
    made: datetime.datetime | None = None,
) -> str:
    """Return the page about ``player`` as the text of one HTML document.

    ``wanted``, ``against`` and ``pictures`` as for ``chosen.gather``. Raises ReportError and
    StoreError.
    """
    made = datetime.datetime.now().astimezone() if made is None else made
    return text_of(page_of(gather(store, player, wanted, against, pictures=pictures), made))


def write_report(
    out: Path,
    player: str,
    wanted: str = "last",
    *,
    against: str | None = None,
    pictures: bool = True,
) -> Path:
    """Write the page about ``player``, from the user's own record; return where it lies.

    Raises ReportError when there is nothing to tell of, ShareError when the file cannot be written,
    StoreError when the record cannot be read.
    """
    with open_store() as store:
        text = report_text(store, player, wanted, against=against, pictures=pictures)
    with whole_text(out) as file:
        file.write(text)
    return out.absolute()


def show(path: Path) -> bool:
    """Open the page in the user's browser; return False where none could be opened."""
    try:
        return webbrowser.open(path.as_uri())
    except webbrowser.Error:
        return False
