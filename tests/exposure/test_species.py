import pytest

from exposure.bands import Band
from exposure.species import (
    Species,
    SpeciesError,
    clear_species,
    find_species,
    species_named,
    species_table,
    with_own_rows,
)
from exposure.zones import ZoneError, zone_band

EVIDENCE = {"abstract", "pages", "practice", "memory"}


def names(rows):
    return [row.name for row in rows]


def test_every_row_says_where_it_comes_from_and_what_that_is_worth():
    for row in species_table():
        assert len(row.source) > 5
        assert row.evidence in EVIDENCE
        if row.evidence == "memory":
            assert "unverified" in row.source
        if row.evidence == "practice":
            assert "no source" in row.source


def test_no_name_leads_to_two_rows():
    seen = [name.casefold() for row in species_table() for name in row.names]
    assert sorted(seen) == sorted(set(seen))


@pytest.mark.parametrize(
    ("pattern", "name"),
    [
        ("Pogona vitticeps", "Pogona vitticeps"),
        ("pogona", "Pogona vitticeps"),
        ("bearded dragon", "Pogona vitticeps"),
        ("BEARDED-DRAGON", "Pogona vitticeps"),
        ("Amphibolurus vitticeps", "Pogona vitticeps"),
        ("Rhacodactylus ciliatus", "Correlophus ciliatus"),
        ("hermanns tortoise", "Testudo hermanni"),
        ("Hermann’s  tortoise", "Testudo hermanni"),
        ("vitticeps", "Pogona vitticeps"),
    ],
)
def test_a_species_is_found_by_any_of_its_names(pattern, name):
    assert names(find_species(pattern))[0] == name


def test_a_pattern_finds_all_that_it_means_the_closest_first():
    assert set(names(find_species("python"))) >= {"Python regius", "Python bivittatus", "Morelia viridis"}
    assert names(find_species("iguana"))[0] == "Iguana iguana"
    assert set(names(find_species("iguana"))) == {"Iguana iguana", "Dipsosaurus dorsalis", "Cyclura cornuta"}


def test_a_species_not_listed_is_found_by_its_genus_and_the_row_says_that_it_is_one():
    (row,) = find_species("Uromastyx geyri")
    assert (row.name, row.rank) == ("Uromastyx", "genus")


@pytest.mark.parametrize("pattern", ["", "  ", "'", "tuatara", "Sphenodon punctatus", "xyzzy"])
def test_what_is_not_there_is_not_guessed(pattern):
    assert find_species(pattern) == ()


def test_an_unknown_name_is_refused_with_the_nearest():
    with pytest.raises(SpeciesError, match="Did you mean Pogona vitticeps"):
        species_named("Pogona viticeps")
    with pytest.raises(SpeciesError, match="Give a zone or type its band"):
        species_named("Sphenodon punctatus")


def test_where_sources_disagree_the_lower_zone_makes_the_band():
    assert species_named("bearded dragon").zones == (3, 4)
    assert species_named("bearded dragon").band == zone_band(3)


def test_a_row_with_a_band_of_its_own_has_that():
    assert species_named("blue-tongued skink").band == Band(1.1, 3.0, 3.0)


def test_a_keepers_row_comes_first_and_takes_the_place_of_ours():
    own = [
        Species("Pogona vitticeps", (4,), "my own dragons, ten years", own_band=Band(2.0, 4.0, 6.0)),
        Species("Sphenodon punctatus", (1,), "a friend at the zoo", common=("tuatara",)),
    ]
    table = with_own_rows(own)
    assert len(table) == len(species_table()) + 1
    assert species_named("Pogona vitticeps", table).band == Band(2.0, 4.0, 6.0)
    assert species_named("tuatara", table).evidence == "keeper"


def test_a_name_that_several_share_is_refused_with_the_choices():
    table = with_own_rows([Species("Pogona henrylawsoni", (3,), "a book", common=("bearded dragon",))])
    with pytest.raises(SpeciesError, match="Pogona henrylawsoni, Pogona vitticeps"):
        species_named("bearded dragon", table)


@pytest.mark.parametrize("zones", [(), (4, 3), (3, 3)])
def test_a_row_whose_zones_cannot_be_meant_is_refused(zones):
    with pytest.raises(SpeciesError, match="zones of Sphenodon"):
        Species("Sphenodon", zones, "a book")


def test_a_row_in_a_zone_that_does_not_exist_is_refused():
    with pytest.raises(ZoneError):
        Species("Sphenodon", (5,), "a book")


@pytest.mark.parametrize(("name", "source"), [("", "a book"), ("Sphenodon", " ")])
def test_a_row_without_a_name_or_a_source_is_refused(name, source):
    with pytest.raises(SpeciesError):
        Species(name, (1,), source)


def test_a_keepers_row_may_have_a_band_and_no_zone():
    row = Species("Sphenodon punctatus", (), "a friend at the zoo", own_band=Band(0.5, 1.0, 2.0))
    assert row.band == Band(0.5, 1.0, 2.0)
    with pytest.raises(SpeciesError):
        Species("Sphenodon punctatus", (), "a friend at the zoo")


def test_a_keepers_row_under_another_of_its_names_is_found_by_all_of_them():
    table = with_own_rows([Species("Amphibolurus vitticeps", (4,), "my vet")])
    assert len(table) == len(species_table())
    for name in ("Pogona vitticeps", "Amphibolurus vitticeps", "bearded dragon"):
        assert species_named(name, table).source == "my vet"


@pytest.mark.parametrize("name", ["Pogona vitticeps", "Uromastyx", "dart frog", "nobody"])
def test_a_row_that_leaves_something_to_choose_is_not_clear(name):
    with pytest.raises(SpeciesError):
        clear_species(name)


def test_a_row_in_one_zone_is_clear_but_not_from_memory_alone():
    assert clear_species("leopard gecko").zones == (1,)
    table = [Species("Sphenodon punctatus", (1,), "from memory, unverified", evidence="memory")]
    with pytest.raises(SpeciesError, match="is from memory"):
        clear_species("Sphenodon punctatus", table)
