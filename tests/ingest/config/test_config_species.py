"""Animals in a configuration: the keeper's own rows, and when a species gives a spot its band."""

from pathlib import Path

import pytest

from exposure.bands import Band
from exposure.zones import zone_band
from ingest.config import ConfigError, parse_config

FILE = Path("baskline.toml")
DRAGON = '[species.dragon]\nname = "Pogona vitticeps"\nsource = "my vet"\n'


def config(example: str, species: str, *, kind: str = "basking", more: str = ""):
    """The document's example, whose ledge has neither zone nor band."""
    text = example.replace("zone = 3\n", f'kind = "{kind}"\n').replace("Pogona vitticeps", species, 1)
    return parse_config(text + more, file=FILE)


def test_a_species_in_one_zone_gives_its_band(example):
    ledge = config(example, "Iguana iguana").spots["ledge"]
    assert ledge.band() == zone_band(3)
    assert ledge.zone is None
    assert ledge.by_species is not None
    assert ledge.by_species.name == "Iguana iguana"


def test_a_row_with_a_band_of_its_own_gives_that(example):
    assert config(example, "blue-tongued skink").spots["ledge"].band() == Band(1.1, 3.0, 3.0)


@pytest.mark.parametrize(
    ("species", "why"),
    [
        ("Pogona vitticeps", "Pogona vitticeps is put in zones 3 and 4"),
        ("Uromastyx", "Uromastyx is a whole genus, in zone 4"),
        ("Sphenodon punctatus", "'Sphenodon punctatus' is not in the table"),
    ],
)
def test_what_leaves_a_choice_is_refused_with_the_reason(example, species, why):
    with pytest.raises(ConfigError) as refused:
        config(example, species)
    (problem,) = refused.value.problems
    assert problem.path == ("spot", "ledge", "zone")
    assert problem.what == f"is missing, and so is a band; {why}"
    assert "zone = 3" in problem.remedy


def test_a_retreat_never_takes_the_zone_in_which_the_animal_basks(example):
    with pytest.raises(ConfigError, match="this is a retreat"):
        config(example, "Iguana iguana", kind="retreat")


@pytest.mark.parametrize(
    ("row", "band"),
    [
        ("zone = 4\n", zone_band(4)),
        ("band = { low_uvi = 2.0, high_uvi = 4.0, ceiling_uvi = 6.0 }\n", Band(2.0, 4.0, 6.0)),
        ("zone = 4\nband = { low_uvi = 2.0, high_uvi = 4.0, ceiling_uvi = 6.0 }\n", Band(2.0, 4.0, 6.0)),
    ],
    ids=["zone", "band", "both"],
)
def test_a_row_of_the_keepers_settles_what_the_table_leaves_open(example, row, band):
    found = config(example, "bearded dragon", more=DRAGON + row)
    assert found.spots["ledge"].band() == band
    assert found.own_species()[0].source == "my vet"


def test_a_row_needs_a_zone_or_a_band(example):
    with pytest.raises(ConfigError, match=r"zone: is missing, and so is a band\. Add one of them"):
        parse_config(example + DRAGON, file=FILE)


def test_two_rows_for_one_animal_are_refused(example):
    more = (
        DRAGON + "zone = 3\n" + DRAGON.replace(".dragon", ".other").replace("Pogona", "pogona") + "zone = 4\n"
    )
    with pytest.raises(ConfigError, match=r"which is species\.dragon already"):
        parse_config(example + more, file=FILE)


@pytest.mark.parametrize(("low", "high"), [("8.0", "8.0"), ("9", "8.0")])
def test_the_least_dose_must_be_under_the_greatest(example, low, high):
    rules = f"\nrules = {{ dose_low_uvi_h = {low}, dose_high_uvi_h = {high} }}\n"
    with pytest.raises(ConfigError, match="not over dose_low_uvi_h") as refused:
        parse_config(example.replace("zone = 3\n", "zone = 3" + rules), file=FILE)
    assert refused.value.problems[0].path == ("spot", "ledge", "rules", "dose_high_uvi_h")


def test_the_pages_table_of_zones_is_what_a_zone_gives(documentation):
    part = documentation.split("<!-- zones -->")[1].split("<!-- /zones -->")[0]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in part.strip().splitlines()[2:]]
    assert [
        (int(number), Band(float(low), float(high), float(ceiling))) for number, low, high, ceiling in rows
    ] == [(number, zone_band(number)) for number in (1, 2, 3, 4)]
