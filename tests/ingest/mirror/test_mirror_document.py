import re
from pathlib import Path

from calibrate.samples import Flag

DOCUMENT = (Path(__file__).parents[3] / "ingest" / "MIRROR.md").read_text()


def test_the_document_names_every_flag_with_its_number():
    (row,) = [line for line in DOCUMENT.splitlines() if line.startswith("| field | `flags`")]
    assert re.findall(r"(\d+) (\w+)", row.split(";")[0]) == [
        (str(int(flag)), flag.name.lower()) for flag in Flag
    ]


def test_the_document_names_the_tags_that_are_sent(store, make_batch, feed, settings):
    batch = make_batch(0, 1)
    line = next(iter(feed(settings)._lines.lines(batch)))
    measurement, *tags = line.split(" ")[0].split(",")
    assert f"| measurement | `{measurement}` |" in DOCUMENT
    documented = re.findall(r"`(\w+)`", "".join(re.findall(r"^\| tag \| ([^|]*) \|", DOCUMENT, re.M)))
    assert sorted(tag.split("=")[0] for tag in tags) == sorted(documented)
