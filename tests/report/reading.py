"""Reads a page back, as the HTML standard says."""

import datetime as dt
import sqlite3

import pytest

from trainer.report.write import report_text

MADE = dt.datetime(2026, 6, 1, 9, 0, tzinfo=dt.timezone.utc)


def page(store, player="Ann", wanted="last", **given):
    return report_text(store, player, wanted, made=MADE, **given)


def strictly(text):
    """Parse as the HTML standard says, refusing every error (html5lib, strict)."""
    html5lib = pytest.importorskip("html5lib")
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    tree = parser.parse(text)
    for item in tree.iter():
        item.tag = item.tag.removeprefix("{http://www.w3.org/2000/svg}")
    return tree


def said(element):
    return " ".join("".join(element.itertext()).split())


def words(text):
    """Return what a reader sees, in one line."""
    return said(strictly(text).find("body"))


def rows_of(text, caption):
    for table in strictly(text).iter("table"):
        if said(table.find("caption")) == caption:
            return {said(row[0]): [said(cell) for cell in row[1:]] for row in table.find("tbody")}
    raise AssertionError(f"no table {caption!r}")


def column(store, sql):
    """Ask the file itself, past everything of ours."""
    with sqlite3.connect(store.path) as db:
        return [row[0] for row in db.execute(sql)]
