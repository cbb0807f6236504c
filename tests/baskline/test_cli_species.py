"""`baskline species`: what it finds, what it does not guess, and what a configuration makes of it."""

import json

import pytest

from tests.baskline.documented import departures, sections, table
from tests.baskline.making import room, said_here

OWN = """
[species.spiny]
name = "Uromastyx geyri"
band = { low_uvi = 3.0, high_uvi = 4.0, ceiling_uvi = 5.5 }
source = "my own, six years"
common = ["Saharan mastigure"]
"""


def test_an_animal_is_shown_with_zones_ranges_band_source_and_what_that_is_worth(tmp_path):
    said = said_here("species", "bearded", "dragon", folder=tmp_path)
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith("Pogona vitticeps (")
    assert "average UVI 1 to 2.6, maximum 2.9 to 7.4\n" in said.out
    assert "average UVI 2.6 to 3.5 or more, maximum 4.5 to 8\n" in said.out
    assert "the lower zone makes the band" in said.out
    assert "band     UVI 1 to 2.6, ceiling 7.4\n" in said.out
    assert "source   zone 4: " in said.out
    assert "checked  no: read on pages" in said.out
    assert "Zones guide, they do not prescribe" in said.out
    assert "a retreat with little UV" in said.out
    assert "no level to run a lamp at" in said.out


def test_what_is_found_by_its_genus_says_so(tmp_path):
    said = said_here("species", "Uromastyx geyri", folder=tmp_path)
    assert "Uromastyx, genus (" in said.out
    assert "Uromastyx geyri itself is not listed; this row is of its genus." in said.out


@pytest.mark.parametrize(
    ("name", "remedy"),
    [("tuatara", "add [species.NAME]"), ("pogona viticeps", "Did you mean Pogona vitticeps?")],
)
def test_an_unknown_animal_is_said_and_not_guessed(tmp_path, name, remedy):
    said = said_here("species", name, folder=tmp_path)
    assert (said.code, said.out) == (1, "")
    assert said.err.startswith(f"baskline: species: {name!r} is not in the table, and no zone is guessed.")
    assert remedy in said.err
    said = said_here("species", name, "--json", folder=tmp_path)
    assert said.code == 1
    assert json.loads(said.out)["species"] == []


def test_without_a_name_the_zones_are_shown_with_their_animals(tmp_path):
    said = said_here("species", folder=tmp_path)
    assert said.code == 0
    assert [line[:6] for line in said.out.splitlines() if line.startswith("zone ")] == [
        f"zone {number}" for number in (1, 2, 3, 4)
    ]
    assert "Eublepharis macularius" in said.out


@pytest.mark.parametrize("words", [[], ["skink"], ["Testudo"]], ids=["all", "one", "several"])
def test_json_has_the_documented_keys_and_types(tmp_path, words):
    document = json.loads(said_here("species", *words, "--json", folder=tmp_path).out)
    assert departures(document, table(sections()["`baskline species PATTERN --json`"])) == []
    assert document["species"]


def test_a_row_of_the_keepers_is_found_and_comes_first(tmp_path):
    room(tmp_path, more=OWN)
    found = json.loads(said_here("species", "Uromastyx", "geyri", "--json", folder=tmp_path).out)["species"]
    assert [row["name"] for row in found] == ["Uromastyx geyri", "Uromastyx"]
    assert found[0]["band"] == {"low_uvi": 3.0, "high_uvi": 4.0, "ceiling_uvi": 5.5}
    assert (found[0]["evidence"], found[0]["zones"], found[0]["verified"]) == ("keeper", [], True)
    assert "checked  by you" in said_here("species", "Saharan mastigure", folder=tmp_path).out


def test_a_row_that_overrides_ours_keeps_its_names(tmp_path):
    room(tmp_path, more='[species.dragon]\nname = "Pogona vitticeps"\nzone = 4\nsource = "my vet"\n')
    (row,) = json.loads(said_here("species", "bearded dragon", "--json", folder=tmp_path).out)["species"]
    assert (row["zones"], row["source"], row["evidence"]) == ([4], "my vet", "keeper")


def test_a_configuration_that_is_to_be_mended_does_not_stand_in_the_way(tmp_path):
    (tmp_path / "baskline.toml").write_text("[bridge\n")
    said = said_here("species", "leopard gecko", folder=tmp_path)
    assert said.code == 0
    assert "Eublepharis macularius" in said.out
    assert said.err == (
        "baskline: baskline.toml cannot be used, so rows of your own are left out; see `baskline check`\n"
    )


def findings(folder, part):
    said = said_here("check", "--json", "--seconds", "1", folder=folder)
    return [each for each in json.loads(said.out)["findings"] if each["part"] == part]


def with_species(folder, name, *, band="", more=""):
    room(folder)
    text = (folder / "baskline.toml").read_text()
    text = text.replace('label = "Rock garden"', f'label = "Rock garden"\nspecies = "{name}"')
    lines = [band if line.startswith("band =") else line for line in text.splitlines()]
    (folder / "baskline.toml").write_text("\n".join(lines) + "\n" + more)


def test_an_unknown_species_in_the_configuration_is_a_note(tmp_path):
    with_species(tmp_path, "Pogona viticeps", band="zone = 3")
    (note,) = findings(tmp_path, "species")
    assert note["fine"]
    assert note["what"] == "'Pogona viticeps' is not in the table"
    assert note["do"] == "Did you mean Pogona vitticeps?"
    assert "note  species garden: 'Pogona viticeps' is not in the table\n" in (
        said_here("check", "--seconds", "1", folder=tmp_path).out
    )


def test_a_spot_without_zone_or_band_takes_those_of_its_species_and_check_says_so(tmp_path):
    with_species(tmp_path, "leopard gecko")
    (note,) = findings(tmp_path, "band")
    assert note["fine"]
    assert note["what"].startswith("0 to 0.7, ceiling 1.4, by Eublepharis macularius")
    assert findings(tmp_path, "species") == []


def test_the_keepers_own_row_gives_the_band(tmp_path):
    with_species(tmp_path, "Saharan mastigure", more=OWN)
    assert findings(tmp_path, "band")[0]["what"].startswith("3 to 4, ceiling 5.5, by Uromastyx geyri")
